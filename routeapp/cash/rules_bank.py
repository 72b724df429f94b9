"""A bank's statement on paper: which of its rows are probably which of our moves of money."""

from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

# How far apart a move and its row may lie: common practice, no source.
BEFORE, AFTER = 1, 7  # days of an exact match
NEAR_BEFORE, NEAR_AFTER = 3, 14
NEAR_CENTS, NEAR_PERCENT = 500, 5


def is_near(moved: date, on: date) -> bool:
    """Whether a row of the bank on a day may be what moved on another."""
    return -NEAR_BEFORE <= (on - moved).days <= NEAR_AFTER


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
