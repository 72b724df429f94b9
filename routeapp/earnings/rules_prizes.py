"""How the take of a cabinet is shared out to the prizes in it, and what a prize comes to. Whole minor units.

Where several prizes lie in one cabinet, no coin says which it was for. The take is shared out by the pieces won from
one count (or reading of the prizes meter) to the next, and where none is told to be won, by the pieces that lay inside.
Pieces told while the cash stayed in the box go with the next cash. That adds up to the take, and says nothing of which
prize draws players.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from uuid import UUID

from routeapp.kit.money import half_up, split

Pieces = Mapping[int, int]  # by prize


@dataclass(frozen=True)
class Stop:
    """What one visit, count or day of card sales told of a cabinet: its take, the pieces won of each prize and their
    cost, and what lay inside until then."""

    location: int
    at: datetime
    visit: UUID | None = None
    take: int = 0
    uncounted: bool = False  # there is more in a bag nobody counted
    left_in_box: bool = False  # nobody took the cash: the next who does finds that of both
    won: Pieces = field(default_factory=dict)
    cost: Pieces = field(default_factory=dict)
    inside: Pieces = field(default_factory=dict)


def shared_out(stops: Sequence[Stop]) -> list[Pieces]:
    """What of the take of each stop of one cabinet (oldest first) goes to each prize; nothing where none is known."""
    told: dict[int, int] = {}
    found: list[Pieces] = []
    for stop, own in zip(reversed(stops), reversed(_won_by_box(stops)), strict=True):
        inside = _some(stop.inside)
        told = own or told  # where a stop tells of none, the next one that does tells of its days, too
        weights = own or {prize: many for prize, many in told.items() if prize in inside} or inside
        found.append(_handed_out(stop.take, weights))
    return found[::-1]


def _won_by_box(stops: Sequence[Stop]) -> list[dict[int, int]]:
    """The pieces that the take of each stop tells of: with those of stops before that left the cash in the box."""
    waiting: Counter[int] = Counter()
    found = []
    for stop in stops:
        won = Counter(stop.won)
        if stop.left_in_box:
            waiting.update(won)
        else:
            won.update(waiting)
            waiting.clear()
        found.append(_some(won))
    return found


def _some(pieces: Pieces) -> dict[int, int]:
    """By prize id, so that an odd cent always goes the same way; a count may also give back what a meter took."""
    return {prize: many for prize, many in sorted(pieces.items()) if many > 0}


def _handed_out(take: int, weights: Pieces) -> Pieces:
    return dict(zip(weights, split(take, list(weights.values())), strict=True)) if weights else {}


def costs_as_booked(booked: int, by_prize: Pieces) -> Pieces:
    """Costs of prizes, each rounded, that together come to what was `booked` for all of them: a cent too much or too
    little is the dearest one's."""
    if not by_prize:
        return {}
    dearest = max(by_prize, key=lambda prize: (abs(by_prize[prize]), prize))
    return {**by_prize, dearest: by_prize[dearest] + booked - sum(by_prize.values())}


@dataclass(frozen=True)
class Came:
    """What a prize came to in some days: pieces won, their cost, the take shared out to it, its days in cabinets that
    stood somewhere, whole ones of each."""

    won: int = 0
    cost: int = 0
    take: int = 0
    days: int = 0

    @property
    def left(self) -> int:
        """Of the take, after what the pieces cost."""
        return self.take - self.cost

    @property
    def share(self) -> float | None:
        """Cost in per cent of the take."""
        return 100 * self.cost / self.take if self.take > 0 and self.won else None

    @property
    def left_a_piece(self) -> int | None:
        return half_up(Fraction(self.left, self.won)) if self.won > 0 else None

    @property
    def left_a_day(self) -> int | None:
        return half_up(Fraction(self.left, self.days)) if self.days else None


def came(stop: Stop, shares: Pieces, prize: int) -> Came:
    """What one stop told of a prize; `shares` are those of the take."""
    return Came(stop.won.get(prize, 0), stop.cost.get(prize, 0), shares.get(prize, 0))


def added(each: Iterable[Came]) -> Came:
    each = list(each)
    return Came(*(sum(getattr(one, name) for one in each) for name in ("won", "cost", "take", "days")))
