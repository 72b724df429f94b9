"""The stock ledger worked out a second time, on paper: what holdings, counts and average costs must come to."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from uuid import UUID

OURS = ("store", "van", "cabinet")


@dataclass(frozen=True)
class Moved:
    source: UUID
    at: datetime
    prize: str
    pieces: int
    start: str
    end: str
    cost: int | None = None


@dataclass(frozen=True)
class Counted:
    source: UUID
    at: datetime
    prize: str
    pieces: int
    place: str


def holding(facts: list, place: str, prize: str, before: datetime | None = None) -> tuple[int, dict[Counted, int]]:
    """What lies there after all `facts`, and by how much each count found less than should have been there."""
    mine = [fact for fact in facts if fact.prize == prize and (before is None or fact.at < before)]
    pieces, missing = 0, {}
    for fact in sorted(mine, key=lambda one: (one.at, isinstance(one, Moved), str(one.source))):
        if isinstance(fact, Moved):
            pieces += fact.pieces * ((fact.end == place) - (fact.start == place))
        elif fact.place == place:
            missing[fact] = pieces - fact.pieces
            pieces = fact.pieces
    return pieces, missing


def averages(facts: list, prize: str) -> list[tuple[datetime, int, int]]:
    """(since, pieces, value) after each delivery: what is left keeps its average cost, the new ones bring theirs."""
    bought: dict[datetime, list[int]] = defaultdict(lambda: [0, 0])
    for fact in facts:
        if isinstance(fact, Moved) and fact.prize == prize and fact.cost is not None:
            bought[fact.at][0] += fact.pieces
            bought[fact.at][1] += fact.cost
    pieces, value, steps = 0, 0, []
    for at, (more, cost) in sorted(bought.items()):
        left = max(0, sum(holding(facts, place, prize, before=at)[0] for place in OURS))
        unit = Fraction(value, pieces) if pieces else Fraction(0)
        pieces, value = left + more, int(unit * left + Fraction(1, 2)) + cost
        steps.append((at, pieces, value))
    return steps
