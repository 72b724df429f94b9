"""The world: where cabinets stand, who plays, what breaks, what is stolen. All figures are invented, none is from a
real business; they are drawn before any policy acts, so that every policy meets the same luck."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from routeapp.planning.rules_drive import ways
from routeapp.planning.rules_plan import Place, Point, Problem, Travel, Window, Worker

MONDAY = date(2026, 1, 5)
WEEK, WORKING = 7, 5


@dataclass(frozen=True)
class Assumptions:
    """What is assumed of the world. Money is cents."""

    per_location: tuple[float, ...] = (0.5, 0.3, 0.2)  # chances of one, two, three cabinets at a location
    plays_shape: float = 1.5  # plays a day of a cabinet: gamma between cabinets …
    plays_mean: float = 14.0
    plays_size: float = 3.0  # … and negative binomial between days
    drift: float = 0.02  # deviation by which the logarithm of a rate wanders in a day
    season: float = 0.2  # height of the yearly wave
    weekdays: tuple[float, ...] = (0.8, 0.8, 0.85, 0.9, 1.15, 1.4, 1.1)
    price: int = 100
    host_share: tuple[float, float] = (0.25, 0.45)
    plays_per_prize: tuple[float, float] = (8.0, 16.0)
    prize_cost: tuple[int, int] = (250, 450)
    capacity: tuple[int, int] = (24, 60)  # prizes a cabinet holds
    kinds: tuple[int, int] = (2, 4)  # kinds of prizes in a cabinet; each that runs out takes its players along
    theft: float = 0.0005  # chance a day that the boxes of a location are emptied
    fault: float = 0.003  # chance a day that a cabinet stops; nobody tells
    holding: float = 0.0003  # cost of a prize in a cabinet a day, as a part of its price
    service: tuple[int, int] = (8, 6)  # minutes at a location, and for each of its cabinets
    per_hour: int = 2400
    per_km: int = 40
    shift: Window = (480, 1020)
    van: int = 420  # prizes
    people: dict[int, int] | None = None
    warm_up: int = 8  # weeks in which all policies drive every other week and learn
    weeks: int = 26  # that are reported


USUAL = Assumptions()
DEPOT = Point(50.0, 8.0, "depot")
TRAVEL = Travel()
HOURS: tuple[tuple[Window, ...], ...] = (((600, 1320),), ((540, 1080),), ((540, 720), (780, 1110)), ((840, 1320),))
OFTEN = (0.4, 0.3, 0.2, 0.1)


@dataclass(frozen=True)
class World:
    assumed: Assumptions
    seed: int
    spots: np.ndarray  # (L, 2) latitude and longitude
    windows: tuple[tuple[tuple[Window, ...], ...], ...]  # by location and weekday
    home: np.ndarray  # (M,) location of each cabinet
    margin: np.ndarray  # (M,) cents of a play that stay with the operator, before prizes
    plays_per_prize: np.ndarray  # (M,)
    prize_cost: np.ndarray  # (M,)
    room: np.ndarray  # (M, K) prizes of each kind that fit
    plays: np.ndarray  # (M, D) plays that players want
    wins: np.ndarray  # (M, K, D) prizes of each kind they would win
    breaks: np.ndarray  # (M, D)
    thefts: np.ndarray  # (L, D)
    people: int

    @property
    def cabinets(self) -> int:
        return len(self.home)

    @property
    def locations(self) -> int:
        return len(self.spots)

    @property
    def days(self) -> int:
        return self.plays.shape[1]

    @cached_property
    def appeal(self) -> np.ndarray:
        """The part of the players that each kind draws, (M, K)."""
        return self.room / self.room.sum(axis=1, keepdims=True)

    @cached_property
    def worth(self) -> np.ndarray:
        """Cents that a play brings in the end, prizes taken off, (M,)."""
        return self.margin - self.prize_cost / self.plays_per_prize

    @cached_property
    def service(self) -> np.ndarray:
        base, each = self.assumed.service
        return base + each * np.bincount(self.home, minlength=self.locations)

    @cached_property
    def legs(self) -> np.ndarray:
        """Cents of the ways between locations; the last is the depot. (L + 1, L + 1)"""
        table = ways(Problem(tuple(self.place(one, {}, 0) for one in range(self.locations)), self.workers(), TRAVEL))
        return self.assumed.per_km * table.metres / 1000 + self.assumed.per_hour * table.seconds / 3600

    @cached_property
    def stay(self) -> np.ndarray:
        """Cents of the time at each location."""
        return self.assumed.per_hour * self.service / 60

    def by_location(self, values: np.ndarray) -> np.ndarray:
        """Sums over the cabinets of each location, along the first axis."""
        sums = np.zeros((self.locations, *values.shape[1:]))
        np.add.at(sums, self.home, values)
        return sums

    def workers(self, people: int | None = None) -> tuple[Worker, ...]:
        each = self.assumed
        return tuple(
            Worker(person, day, each.shift, DEPOT, DEPOT, each.per_hour, each.per_km, 0, each.van)
            for person in range(people or self.people)
            for day in working_days()
        )

    def place(self, location: int, value: Mapping[date, int], load: int, must_by: date | None = None) -> Place:
        """A location on the days that `value` names."""
        lat, lon = (float(one) for one in self.spots[location])
        windows = {day: self.windows[location][day.weekday()] for day in value}
        return Place(
            location, lat, lon, windows, int(self.service[location]), value, min(load, self.assumed.van), must_by
        )


def working_days() -> list[date]:
    """The week that is planned always takes the dates of the first one."""
    return [MONDAY + timedelta(day) for day in range(WORKING)]


def made(cabinets: int, seed: int, assumed: Assumptions = USUAL) -> World:
    """A world of so many cabinets. One person can look after about 100."""
    draw = np.random.default_rng([seed, cabinets])
    counts = draw.choice([1, 2, 3], size=cabinets, p=assumed.per_location)
    home = np.repeat(np.arange(cabinets), counts)[:cabinets]
    locations = int(home[-1]) + 1
    days = WEEK * (assumed.warm_up + assumed.weeks)
    kinds = draw.integers(assumed.kinds[0], assumed.kinds[1] + 1, cabinets)
    liked = draw.dirichlet([4.0] * assumed.kinds[1], cabinets) * (np.arange(assumed.kinds[1]) < kinds[:, None])
    capacity = draw.integers(assumed.capacity[0], assumed.capacity[1] + 1, cabinets)
    room = np.maximum(np.rint(capacity[:, None] * liked / liked.sum(axis=1, keepdims=True)), liked > 0).astype(int)
    per_prize = draw.uniform(*assumed.plays_per_prize, cabinets)
    plays = _plays(draw, cabinets, days, assumed)
    appeal = room / room.sum(axis=1, keepdims=True)
    won = draw.binomial(plays, (1 / per_prize)[:, None])
    wins = np.stack([draw.multinomial(won[:, day], appeal) for day in range(days)], axis=-1)
    return World(
        assumed, seed, _spots(draw, locations, cabinets), _windows(draw, locations), home,
        assumed.price * (1 - draw.uniform(*assumed.host_share, locations)[home]), per_prize,
        draw.uniform(*assumed.prize_cost, cabinets), room, plays, wins,
        draw.random((cabinets, days)) < assumed.fault, draw.random((locations, days)) < assumed.theft,
        max(1, math.ceil(cabinets / 100)),
    )  # fmt: skip


def _plays(draw: np.random.Generator, cabinets: int, days: int, assumed: Assumptions) -> np.ndarray:
    rates = draw.gamma(assumed.plays_shape, assumed.plays_mean / assumed.plays_shape, cabinets)
    wandered = np.exp(np.cumsum(draw.normal(-(assumed.drift**2) / 2, assumed.drift, (cabinets, days)), axis=1))
    day = np.arange(days)
    wave = 1 + assumed.season * np.sin(2 * np.pi * (day + draw.uniform(0, 365)) / 365)
    mean = rates[:, None] * wandered * wave * np.array(assumed.weekdays)[day % WEEK]
    return draw.poisson(draw.gamma(assumed.plays_size, mean / assumed.plays_size))


def _spots(draw: np.random.Generator, locations: int, cabinets: int) -> np.ndarray:
    """Two thirds in towns, the rest between them, within a radius that grows with the business."""
    radius = 12 + 2.2 * math.sqrt(cabinets)  # km
    towns = _within(draw, max(2, locations // 12), radius)
    near = towns[draw.integers(len(towns), size=locations)] + draw.normal(0, 2.5, (locations, 2))
    apart = _within(draw, locations, radius)
    kilometres = np.where(draw.random(locations)[:, None] < 2 / 3, near, apart)
    return np.array([DEPOT.lat, DEPOT.lon]) + kilometres / [111.2, 71.7]


def _within(draw: np.random.Generator, count: int, radius: float) -> np.ndarray:
    far, angle = radius * np.sqrt(draw.random(count)), 2 * np.pi * draw.random(count)
    return np.stack([far * np.sin(angle), far * np.cos(angle)], axis=1)


def _windows(draw: np.random.Generator, locations: int) -> tuple[tuple[tuple[Window, ...], ...], ...]:
    """Hours of one of four sorts; one location in three is closed on one working day."""
    sorts = draw.choice(len(HOURS), size=locations, p=OFTEN)
    closed = np.where(draw.random(locations) < 1 / 3, draw.integers(WORKING, size=locations), -1)
    return tuple(
        tuple(() if day == closed[row] else HOURS[sorts[row]] for day in range(WORKING)) for row in range(locations)
    )
