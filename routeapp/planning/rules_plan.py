"""The words of a round on paper: places, workers, what is asked of the solver and what it answers.

Times of day are whole minutes from midnight by the location's own clock, money is cents, distances are metres.
"""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from datetime import date

Window = tuple[int, int]  # open from, open until, in minutes from midnight
Shift = tuple[int, date]  # one person's outing on one day: (person, day)


@dataclass(frozen=True)
class Point:
    """Where a worker starts or ends; `key` names it in the table of measured legs."""

    lat: float
    lon: float
    key: Hashable = None


@dataclass(frozen=True)
class Pin:
    """What a person decided about one place. Places with an `order` are driven first, in that order, even if closed;
    the rest is planned after them. An order needs a person."""

    day: date
    person: int | None = None
    order: int | None = None


@dataclass(frozen=True)
class Place:
    """One location that may be visited once within the days of the problem."""

    id: int
    lat: float | None
    lon: float | None
    windows: Mapping[date, tuple[Window, ...]]  # a day that is missing is a day it is closed
    service: int  # minutes
    value: Mapping[date, int]  # cents gained by a visit on that day; a missing day gains nothing
    load: int = 0  # prizes to bring
    must_by: date | None = None  # has to be visited on this day or before; None: only if it pays
    not_before: date | None = None
    pin: Pin | None = None

    @property
    def located(self) -> bool:
        return self.lat is not None and self.lon is not None


@dataclass(frozen=True)
class Worker:
    """One person's shift on one day. Without a start or an end, the way to the first or from the last stop is not
    counted."""

    person: int
    day: date
    shift: Window
    start: Point | None = None
    end: Point | None = None
    cost_per_hour: int = 0
    cost_per_km: int = 0
    cost_per_trip: int = 0
    capacity: int | None = None  # prizes the van holds; None: any number

    @property
    def key(self) -> Shift:
        return (self.person, self.day)


@dataclass(frozen=True)
class Leg:
    metres: int
    seconds: int


@dataclass(frozen=True)
class Travel:
    """How far by road and how long. The defaults are: 1.2, the circuity of urban trips (G. F. Newell, Traffic Flow on
    Transportation Networks, 1980), 40 km/h and 3 minutes to park and walk in (both common practice, no source). Legs
    the business measured itself, by the ids of places and the keys of points, override them."""

    circuity: float = 1.2
    km_per_hour: float = 40.0
    minutes_per_leg: float = 3.0
    legs: Mapping[tuple[Hashable, Hashable], Leg] = field(default_factory=dict)


@dataclass(frozen=True)
class Problem:
    places: tuple[Place, ...]
    workers: tuple[Worker, ...]
    travel: Travel = Travel()


@dataclass(frozen=True)
class Stop:
    place: int
    arrival: int  # minutes from midnight; the wait until it opens is between arrival and begin
    begin: int
    departure: int
    metres: int  # by road from the stop before, or from the start
    value: int
    note: str = ""  # what is wrong with this stop, as a sentence


@dataclass(frozen=True)
class Route:
    person: int
    day: date
    leaves: int  # minutes from midnight
    returns: int
    stops: tuple[Stop, ...]
    metres: int
    cost: int
    note: str = ""  # what is wrong with the whole, as a sentence

    @property
    def key(self) -> Shift:
        return (self.person, self.day)

    @property
    def value(self) -> int:
        return sum(stop.value for stop in self.stops)


@dataclass(frozen=True)
class Left:
    """A place that is not visited, and why. `detour` is the least a visit would have cost; None where it cannot be."""

    place: int
    reason: str
    detour: int | None = None


@dataclass(frozen=True)
class Plan:
    routes: tuple[Route, ...]  # those that leave, by day and person
    left: tuple[Left, ...]

    @property
    def cost(self) -> int:
        return sum(route.cost for route in self.routes)

    @property
    def value(self) -> int:
        return sum(route.value for route in self.routes)

    @property
    def gain(self) -> int:
        return self.value - self.cost

    @property
    def orders(self) -> dict[Shift, tuple[int, ...]]:
        """The ids of places in the order of each shift."""
        return {route.key: tuple(stop.place for stop in route.stops) for route in self.routes}
