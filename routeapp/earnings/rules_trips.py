"""Handing the cost of a person's day on the road out to the stops and cabinets it was for. Whole minor units."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from uuid import UUID

from routeapp.kit.money import half_up, split


@dataclass(frozen=True)
class Leg:
    """The way to a stop, or home after the last one."""

    metres: int
    seconds: int


@dataclass(frozen=True)
class Stop:
    """One visit of the day: seconds there, cabinets serviced."""

    visit: UUID
    location: int
    day: date
    seconds: int
    machines: Sequence[int]


@dataclass(frozen=True)
class Trip:
    """The stops of one person on one day in order, with one leg more than stops, and what an hour and a kilometre
    cost."""

    stops: Sequence[Stop]
    legs: Sequence[Leg]
    cents_per_hour: int
    cents_per_km: int

    @property
    def road_cents(self) -> int:
        """Kilometres, and the hours at the wheel."""
        metres, seconds = (sum(getattr(leg, name) for leg in self.legs) for name in ("metres", "seconds"))
        return half_up(Fraction(metres * self.cents_per_km, 1000) + Fraction(seconds * self.cents_per_hour, 3600))

    @property
    def time_cents(self) -> int:
        """The hours at the stops."""
        return half_up(Fraction(sum(stop.seconds for stop in self.stops) * self.cents_per_hour, 3600))


@dataclass(frozen=True)
class Borne:
    """What one cabinet bears of a trip; no cabinet where none was serviced. `metres` are those of the whole stop."""

    stop: Stop
    machine: int | None
    metres: int
    cents: int


def borne(trip: Trip) -> Iterator[Borne]:
    """The road goes to the stops by distance, the time there by how long it was, a stop's part evenly to its cabinets.

    A way between two stops is for both of them, half each; the ways from and to home are for the first and the last.
    """
    doubled = doubled_metres(trip.legs)
    by_road = split(trip.road_cents, doubled)
    by_time = split(trip.time_cents, [stop.seconds for stop in trip.stops])
    for stop, metres, road, time in zip(trip.stops, doubled, by_road, by_time, strict=True):
        machines: Sequence[int | None] = sorted(stop.machines) or [None]
        for machine, cents in zip(machines, split(road + time, [1] * len(machines)), strict=True):
            if cents:
                yield Borne(stop, machine, metres // 2, cents)


def doubled_metres(legs: Sequence[Leg]) -> list[int]:
    """Twice the metres that each stop bears."""
    last = len(legs) - 1
    shares = [leg.metres * (2 if place in (0, last) else 1) for place, leg in enumerate(legs)]
    return [before + after for before, after in zip(shares, shares[1:], strict=False)]
