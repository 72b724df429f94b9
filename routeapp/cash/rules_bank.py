"""A bank's statement on paper: what its rows say, and which of them are probably which of our moves of money."""

from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from routeapp.kit.progress import Tell, nobody
from routeapp.kit.reading.headings import Meaning, Vocabulary
from routeapp.kit.reading.sheet import Sheet
from routeapp.kit.reading.statement import DAY, MOMENT, Line, Read, Said, read

SPACE = UUID("2f0d7f53-6a0e-4c0b-9a8e-5b1f6a1d9c44")  # in which rows get their keys
LONGEST = 300
LARGEST = 100_000_000_00

WORDS = {
    DAY: "date day posted posting_date booked booking_date value_date",
    "amount": "amount sum value",
    "money_in": "money_in credit credits paid_in deposit deposits",
    "money_out": "money_out debit debits paid_out withdrawal withdrawals",
    "text": "description details text purpose particulars memo",
    "more": "reference payee name note counterparty",
    "currency": "currency ccy",
}


def _meaning(key: str, label: str, reads: str = "text") -> Meaning:
    return Meaning(key, label, reads, tuple(word.replace("_", " ") for word in WORDS[key].split()))


VOCABULARY = Vocabulary(
    {
        "The row": (
            _meaning(DAY, "Day"),
            _meaning("amount", "Amount, minus for money out", "own_amount"),
            _meaning("money_in", "Money in", "own_amount"),
            _meaning("money_out", "Money out", "own_amount"),
            _meaning("text", "What it says"),
            _meaning("more", "What else it says"),
            _meaning("currency", "Currency", "own_currency"),
        )
    }
)

# How far apart a move and its row may lie: common practice, no source.
BEFORE, AFTER = 1, 7  # days of an exact match
NEAR_BEFORE, NEAR_AFTER = 3, 14
NEAR_CENTS, NEAR_PERCENT = 500, 5


def is_near(moved: date, on: date) -> bool:
    """Whether a row of the bank on a day may be what moved on another."""
    return -NEAR_BEFORE <= (on - moved).days <= NEAR_AFTER


@dataclass(frozen=True)
class Row:
    """One line of a statement; `cents` above zero where money came in."""

    number: int
    day: date
    cents: int
    text: str


@dataclass
class Found(Read):
    """What a statement says. With a problem nothing of it is kept; rows without an amount are left out."""

    rows: list[Row] = field(default_factory=list)
    left_out: int = 0


def rows_of(sheet: Sheet, said: Said, told: Tell = nobody) -> Found:
    """Every row below the headings, in the order of the file. One in another currency is a problem."""
    whole = read(sheet, said, VOCABULARY, told)
    found = Found(problems=whole.problems, wrong=whole.wrong)
    for line in whole.lines:
        _take(found, line, said)
    return found


def _take(found: Found, line: Line, said: Said) -> None:
    cents, moment = _cents(line.values), line.values.get(MOMENT)
    words = " ".join(part for name in ("text", "more") if (part := line.values.get(name)))
    if not cents:
        found.left_out += 1
    elif moment is None:
        found.refuse(line.row, "", "An amount stands here, but no day.")
    elif abs(cents) > LARGEST:
        found.refuse(line.row, "", "That amount is too large to be meant.")
    else:
        day = moment.astimezone(ZoneInfo(said.zone)).date()
        found.rows.append(Row(line.row, day, cents, words[:LONGEST]))


def _cents(values: dict[str, Any]) -> int:
    """Some banks write money out with a minus and some without."""
    return (values.get("amount") or 0) + abs(values.get("money_in") or 0) - abs(values.get("money_out") or 0)


def keys(rows: Sequence[Row], account: str) -> list[UUID]:
    """What each row is recognised by in another file of the same account; rows that say the same are told apart by
    how many came before."""
    seen: Counter[str] = Counter()
    made = []
    for row in rows:
        said = f"{account.casefold()}|{row.day}|{row.cents}|{row.text}"
        seen[said] += 1
        made.append(uuid5(SPACE, f"{said}|{seen[said]}"))
    return made


@dataclass(frozen=True)
class Side:
    """A row of a statement, or what our books say the bank moved: `cents` above zero where money came in."""

    key: Any
    day: date
    cents: int


Pair = tuple[Side, Side]


def exact(rows: Iterable[Side], events: Iterable[Side]) -> list[Pair]:
    """Rows with the event of the same amount that lies nearest, each used once. A row comes up to a week after."""
    waiting: dict[tuple[int, date], deque[Side]] = defaultdict(deque)
    for event in events:
        waiting[event.cents, event.day].append(event)
    found: list[Pair] = []
    left = list(rows)
    for apart in range(max(BEFORE, AFTER) + 1):  # the nearest first
        days = [days for days in sorted({-apart, apart}) if -BEFORE <= days <= AFTER]
        pairs = {row.key: _taken(waiting, row, days) for row in left}
        found += [(row, pair) for row in left if (pair := pairs[row.key])]
        left = [row for row in left if not pairs[row.key]]
    return found


def _taken(waiting: Mapping[tuple[int, date], deque[Side]], row: Side, days: Iterable[int]) -> Side | None:
    """The first event of the row's amount that lies so many days before it; nobody else gets it."""
    there = (waiting.get((row.cents, row.day - timedelta(days=each))) for each in days)
    return next((events.popleft() for events in there if events), None)


def near(rows: Sequence[Side], events: Sequence[Side]) -> list[Pair]:
    """Rows with an event of nearly the same amount, for a person to confirm."""
    fits = [(row, event) for row in rows for event in events if _is_near(row, event)]
    return _nearest_first(fits)


def _fits(row: Side, event: Side, before: int, after: int) -> bool:
    return -before <= (row.day - event.day).days <= after


def _is_near(row: Side, event: Side) -> bool:
    apart = abs(row.cents - event.cents)
    close = apart <= max(NEAR_CENTS, abs(event.cents) * NEAR_PERCENT // 100)
    return row.cents * event.cents > 0 and close and _fits(row, event, NEAR_BEFORE, NEAR_AFTER)


def _nearest_first(fits: list[Pair]) -> list[Pair]:
    fits.sort(key=lambda pair: (abs(pair[0].cents - pair[1].cents), abs((pair[0].day - pair[1].day).days)))
    used: set[tuple[str, Any]] = set()
    chosen = []
    for row, event in fits:
        if not used & {("row", row.key), ("event", event.key)}:
            used |= {("row", row.key), ("event", event.key)}
            chosen.append((row, event))
    return chosen
