"""What counts and prizes meters settle in one place: what was won, what is missing, and what was found too many.

A count is the truth about what lies there. A prizes meter tells how many were won since it was read before, but not
which: where a prize was not counted, what the meter tells is taken from what lies inside, in proportion. Where a count
and the meter tell of the same days, what is missing beyond the meter is shrinkage, and what the meter had taken from
the wrong prize goes back.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

from routeapp.kit.money import split


@dataclass(frozen=True)
class Counted:
    """A count, by its key, that found `pieces`. One that is not `exact` was estimated."""

    at: datetime
    prize: int
    key: int
    pieces: int
    exact: bool = True


@dataclass(frozen=True)
class Told:
    """A reading of a prizes meter, by its key: so many were won `since` the reading before."""

    at: datetime
    key: int
    since: datetime
    won: int


@dataclass(frozen=True)
class Moved:
    """Pieces that somebody put in, or took out (below zero)."""

    at: datetime
    prize: int
    pieces: int


class Outcome(NamedTuple):
    """Pieces of a prize that were won, or else are missing, by the count or the reading that says so."""

    prize: int
    won: bool
    by_count: int | None = None
    by_reading: int | None = None


@dataclass(frozen=True)
class Settled:
    """Pieces that were settled before, and stay so."""

    at: datetime
    outcome: Outcome
    pieces: int

    @property
    def prize(self) -> int:
        return self.outcome.prize


Fact = Counted | Told | Moved | Settled
IN_A_MOMENT = (Counted, Settled, Told, Moved)  # what was found stands before what was loaded


def settle(
    start: Mapping[int, int], facts: Iterable[Fact], since: datetime, in_cabinet: bool = True
) -> dict[Outcome, int]:
    """What the counts and readings from `since` on settle, in pieces; below zero they were found too many.

    `start` is what lay there before the first of the `facts`, by prize. What players win goes out of cabinets alone.
    The order of facts does not matter, but for counts of the same moment.
    """
    walk = _Walk(start, in_cabinet)
    in_order = sorted(facts, key=lambda fact: (fact.at, IN_A_MOMENT.index(type(fact))))
    for at, together in groupby(in_order, attrgetter("at")):
        some = list(together)
        if at < since:
            walk.remember(some)
        else:
            walk.settle(at, some)
    return {outcome: pieces for outcome, pieces in walk.found.items() if pieces}


@dataclass
class _Kind:
    """A prize: what lies there; what was taken off by the meter alone since its last count; and until when all that
    was won of it is known."""

    pieces: int = 0
    metered: int = 0
    known: datetime | None = None
    new: bool = True

    def counted(self, count: Counted) -> None:
        self.metered, self.known, self.new = 0, count.at if count.exact else None, False

    def moved(self, move: Moved) -> None:
        self.pieces += move.pieces
        if self.new:
            self.known, self.new = move.at, False

    def told(self, told: Told) -> None:
        if self.is_known(told):
            self.known = max(told.at, self.known or told.at)

    def is_known(self, told: Told) -> bool:
        """Whether no days lie between what is known and what this reading tells."""
        return self.known is not None and told.since <= self.known


class _Walk:
    def __init__(self, start: Mapping[int, int], in_cabinet: bool) -> None:
        self.kinds = defaultdict(_Kind, {prize: _Kind(pieces) for prize, pieces in start.items()})
        self.in_cabinet = in_cabinet
        self.won: list[tuple[datetime, int]] = []
        self.found: dict[Outcome, int] = defaultdict(int)

    def remember(self, facts: Sequence[Fact]) -> None:
        """Go through a moment that is settled already."""
        for fact in facts:
            if isinstance(fact, Settled):
                self._take(fact.at, fact.outcome, fact.pieces)
            elif isinstance(fact, Counted):
                self.kinds[fact.prize].counted(fact)
            else:
                self._go_on(fact)

    def settle(self, at: datetime, facts: Sequence[Fact]) -> None:
        counts = [fact for fact in facts if isinstance(fact, Counted)]
        told = [fact for fact in facts if isinstance(fact, Told)]
        if counts:
            self._count(at, counts, told[0] if told else None)
        for one in told:
            self._meter(one, {count.prize for count in counts})
        for fact in facts:
            self._go_on(fact)

    def _go_on(self, fact: Fact) -> None:
        if isinstance(fact, Moved):
            self.kinds[fact.prize].moved(fact)
        elif isinstance(fact, Told):
            for kind in self.kinds.values():
                kind.told(fact)

    def _take(self, at: datetime, outcome: Outcome, pieces: int) -> None:
        kind = self.kinds[outcome.prize]
        kind.pieces -= pieces
        kind.metered += pieces if outcome.by_reading else 0
        if outcome.won:
            self.won.append((at, pieces))

    def _book(self, at: datetime, outcome: Outcome, pieces: int) -> None:
        self._take(at, outcome, pieces)
        self.found[outcome] += pieces

    def _left(self, told: Told) -> int:
        """How many the meter says were won that nothing else told."""
        return max(0, told.won - sum(pieces for at, pieces in self.won if at > told.since))

    def _count(self, at: datetime, counts: Sequence[Counted], told: Told | None) -> None:
        missing, mixed_up, sure = [], [], told is not None
        expected: dict[int, int] = {}  # by counts of this moment
        for count in counts:
            kind = self.kinds[count.prize]
            off = expected.get(count.prize, kind.pieces) - count.pieces
            missing.append(off)
            mixed_up.append(0 if count.prize in expected else min(max(0, -off), kind.metered))
            expected[count.prize] = count.pieces
            sure = sure and (off <= 0 or (count.exact and told is not None and kind.is_known(told)))
        short = [max(0, off) for off in missing]
        back = min(sum(mixed_up), sum(short))
        won = sum(short) if not sure or told is None else min(sum(short), back + self._left(told))
        parts, returned = split(won if self.in_cabinet else 0, short), split(back, mixed_up)
        for count, off, taken, given in zip(counts, missing, parts, returned, strict=True):
            self._book(at, Outcome(count.prize, True, by_count=count.key), taken - given)
            self._book(at, Outcome(count.prize, False, by_count=count.key), off - taken + given)
            self.kinds[count.prize].counted(count)

    def _meter(self, told: Told, counted: set[int]) -> None:
        """What the meter tells beyond counts was won of what nobody counted; never more than lies there."""
        inside = {prize: kind.pieces for prize, kind in sorted(self.kinds.items()) if prize not in counted}
        inside = {prize: pieces for prize, pieces in inside.items() if pieces > 0}
        left = min(self._left(told), sum(inside.values()))
        for prize, pieces in zip(inside, split(left, list(inside.values())) if left else (), strict=False):
            self._book(told.at, Outcome(prize, True, by_reading=told.key), pieces)
