"""A bank's statement on paper: what its columns mean, and what its rows say."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from routeapp.kit.choices import TextChoices
from routeapp.kit.progress import Tell, nobody
from routeapp.kit.reading.cells import own_amount, text
from routeapp.kit.reading.headings import Meaning, Vocabulary, plain
from routeapp.kit.reading.sheet import Sheet
from routeapp.kit.reading.statement import DAY, MOMENT, Line, Read, Said, read

SPACE = UUID("2f0d7f53-6a0e-4c0b-9a8e-5b1f6a1d9c44")  # in which rows get their keys
LONGEST, LONGEST_WORD = 300, 60
LARGEST = 100_000_000_00

# What banks call their columns and which way a row goes: common practice, no source.
WORDS = {
    DAY: "date, day, posted, posting date, booked, booking date, value date, entry date, transaction date,"
    " effective date, datum, buchungstag, fecha, fecha valor, data, data valuta, data valor, date de valeur, boekdatum",
    "amount": "amount, sum, value, transaction amount, betrag, umsatz, importe, monto, montant, importo, bedrag, valor",
    "money_in": "money in, credit, credits, cr, credit amount, amount credit, amount credited, paid in,"
    " payments in, received, receipts, deposit, deposits, deposit amount, incoming, inflow, haben, gutschrift, abono,"
    " haber, crédit, avere, accrediti, bij, crédito",
    "money_out": "money out, debit, debits, dr, debit amount, amount debit, amount debited, paid out,"
    " payments out, payments, spent, withdrawal, withdrawals, withdrawal amount, outgoing, outflow, soll,"
    " lastschrift, cargo, debe, débit, dare, addebiti, af, débito",
    "way": "sign, direction, dc, d c, c d, drcr, dr cr, cr dr, debit credit, credit debit, debit or credit,"
    " credit or debit, debit credit indicator, credit debit indicator, in out, soll haben, af bij, dare avere",
    "text": "description, details, text, purpose, particulars, memo, narrative, transaction, verwendungszweck,"
    " concepto, libellé, descrizione, omschrijving, descrição, descripción",
    "more": "reference, payee, name, note, counterparty, remarks",
    "currency": "currency, ccy",
}


class Way(TextChoices):
    IN = "in", "Money in"
    OUT = "out", "Money out"


WAYS = {
    Way.IN: "c cr credit credits in + h haben bij avere abono haber crédit crédito deposit received lodged lodgement",
    Way.OUT: "d dr db debit debits out - s soll af dare cargo debe débit débito withdrawal paid",
}
WAY_OF = {word: way for way, words in WAYS.items() for word in words.split()}
# What tells little inside a longer heading, as in “Amount in USD”.
ALONE = {"in": "money in", "amount in": "money in", "out": "money out", "amount out": "money out"}


def _meaning(key: str, label: str, reads: str = "text") -> Meaning:
    return Meaning(key, label, reads, tuple(word.strip() for word in WORDS[key].split(",")))


VOCABULARY = Vocabulary(
    {
        "The row": (
            _meaning(DAY, "Day"),
            _meaning("amount", "Amount", "own_amount"),
            _meaning("money_in", "Money in (credit)", "own_amount"),
            _meaning("money_out", "Money out (debit)", "own_amount"),
            _meaning("way", "Says in or out"),
            _meaning("text", "What it says"),
            _meaning("more", "What else it says"),
            _meaning("currency", "Currency", "own_currency"),
        )
    }
)


def guess(headings: Sequence[Any], below: Sequence[Sequence[Any]]) -> dict[int, str]:
    """What each column probably means: by its heading and, as headings like “Type” tell little, by what it holds."""
    found = VOCABULARY.guess([ALONE.get(plain(heading), heading) for heading in headings])
    if {"money_in", "money_out"} <= set(found.values()):
        return _without(found, "amount", "way")
    if "way" in found.values():
        found = _weighed(found, below)
    if "amount" in found.values():
        found = _without(found, "money_in", "money_out")  # “Credit card” beside the one amount
        if "way" not in found.values():
            width = max(map(len, [headings, *below]))
            found |= {at: "way" for at in range(width) if at not in found and _says_ways(below, at, both=True)}
    return found


def _without(found: Mapping[int, str], *keys: str) -> dict[int, str]:
    return {at: key for at, key in found.items() if key not in keys}


def _weighed(found: dict[int, str], below: Sequence[Sequence[Any]]) -> dict[int, str]:
    """“Debit/Credit” may stand above words for in and out, or above amounts with a sign."""
    at = next(at for at, key in found.items() if key == "way")
    if _says_ways(below, at):
        return found
    is_amount = "amount" not in found.values() and _says_amounts(below, at)
    return _without(found, "way") | ({at: "amount"} if is_amount else {})


def _column(below: Sequence[Sequence[Any]], at: int) -> list[Any]:
    return [cells[at] for cells in below if at < len(cells) and cells[at] not in (None, "")]


def _says_ways(below: Sequence[Sequence[Any]], at: int, both: bool = False) -> bool:
    """Whether all that a column says is in or out; with `both`, that it says each: “Paid” alone may be a state."""
    try:
        ways = {WAY_OF.get(way_word(cell)) for cell in _column(below, at)}
    except ValueError:
        return False
    return None not in ways and len(ways) >= (2 if both else 1)


def _says_amounts(below: Sequence[Sequence[Any]], at: int) -> bool:
    try:
        return any([own_amount(cell) for cell in _column(below, at)])
    except ValueError:
        return False


def way_word(cell: Any) -> str:
    """A word for in or out as it is compared. Empty for an empty cell; raises ValueError for a spreadsheet's error."""
    return text(cell).casefold().strip(".")[:LONGEST_WORD]


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


def rows_of(sheet: Sheet, said: Said, ways: Mapping[str, str], told: Tell = nobody) -> Found:
    """Every row below the headings, in the order of the file. One in another currency is a problem. `ways` is what
    each word of the column for in or out means."""
    whole = read(sheet, said, VOCABULARY, told)
    found = Found(problems=whole.problems, wrong=whole.wrong)
    has_way = "way" in said.columns.values()
    sign = _sign_of_out(whole.lines, ways)
    for line in whole.lines:
        way = ways.get(way_word(line.values.get("way")), "")
        if has_way and not way and line.values.get("amount"):
            found.refuse(line.row, "", "An amount stands here, but not whether it came in or went out.")
        else:
            _take(found, line, _cents(line.values, way, sign), said)
    return found


def _take(found: Found, line: Line, cents: int, said: Said) -> None:
    moment = line.values.get(MOMENT)
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


def _out(values: Mapping[str, Any], way: str) -> int:
    """The amount of a row of which the file says, by its column or a word beside it, that it went out."""
    return (values.get("amount") if way == Way.OUT else values.get("money_out")) or 0


def _sign_of_out(lines: Iterable[Line], ways: Mapping[str, str]) -> int:
    """How a statement writes what went out: -1 where most of it has a minus, and what has none was given back."""
    amounts = [_out(line.values, ways.get(way_word(line.values.get("way")), "")) for line in lines]
    return -1 if sum(cents < 0 for cents in amounts) > sum(cents > 0 for cents in amounts) else 1


def _cents(values: Mapping[str, Any], way: str, sign: int) -> int:
    came = 0 if way == Way.OUT else values.get("amount") or 0
    return came + (values.get("money_in") or 0) - sign * _out(values, way)


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
