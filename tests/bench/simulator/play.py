"""What a policy makes of a world: days pass, rounds are driven, and what each cabinet did is written down."""

import time
from collections.abc import Iterable, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import date
from typing import Protocol

import numpy as np

from routeapp.planning.rules_learn import Known
from routeapp.planning.rules_plan import Route
from routeapp.planning.rules_rate import PARTLY
from tests.bench.simulator.world import MONDAY, WEEK, World

EPOCH = date(1970, 1, 1)


@dataclass
class State:
    """How the cabinets stand on a morning, and what was written down at visits."""

    world: World
    stock: np.ndarray  # (M, K)
    day: int = 0
    cash: np.ndarray = field(init=False)  # (M,) cents of ours
    since: np.ndarray = field(init=False)  # (M,) plays since the last visit
    broken: np.ndarray = field(init=False)  # (M,)
    visited: np.ndarray = field(init=False)  # (L,) day of the last visit
    stops: np.ndarray = field(init=False)  # (M,) times it was found standing still
    looks: list[list[tuple[float, float, int, bool, float]]] = field(init=False)

    def __post_init__(self) -> None:
        cabinets = self.world.cabinets
        self.cash, self.since, self.broken = np.zeros(cabinets), np.zeros(cabinets, int), np.zeros(cabinets, bool)
        self.visited, self.stops = np.zeros(self.world.locations, int), np.zeros(cabinets, int)
        self.looks = [[] for _ in range(cabinets)]

    @property
    def elapsed(self) -> np.ndarray:
        """Days since the last visit, by cabinet."""
        return (self.day - self.visited)[self.world.home]

    @property
    def known(self) -> list[Known]:
        """The cabinets as the rules of learning know them."""
        each = zip(self.world.home.tolist(), self.looks, self.stops.tolist(), strict=True)
        return [Known(None, place, looks, stops=stops, service=self.day) for place, looks, stops in each]


@dataclass
class Books:
    """What it came to, in cents over the reported weeks."""

    margin: np.ndarray  # (L,) of plays, prizes taken off
    stolen: np.ndarray  # (L,)
    visits: np.ndarray  # (L,)
    lost: int = 0  # plays
    wanted: int = 0
    holding: float = 0.0
    trips: int = 0
    planning: float = 0.0  # seconds of one core

    @property
    def profit(self) -> float:
        return float(self.margin.sum() - self.stolen.sum() - self.holding - self.trips)


class Policy(Protocol):
    """Says on a Monday morning which routes are driven in the week (dates of the first week), and how many prizes of
    each kind a cabinet is to hold after a visit."""

    def week(self, state: State) -> Sequence[Route]: ...
    def targets(self, state: State, cabinets: np.ndarray) -> np.ndarray: ...


def warmed(world: World, policy: Policy) -> State:
    """How things stand after the weeks in which every policy learns the same."""
    state = State(world, world.room.copy())
    _weeks(state, policy, world.assumed.warm_up)
    return state


def play(start: State, policy: Policy) -> Books:
    """The reported weeks under a policy."""
    return _weeks(deepcopy(start), policy, start.world.assumed.weeks)


def _weeks(state: State, policy: Policy, count: int) -> Books:
    books = Books(*(np.zeros(state.world.locations) for _ in range(3)))
    for _ in range(count):
        began = time.process_time()
        routes = policy.week(state)
        books.planning += time.process_time() - began
        for weekday in range(WEEK):
            for route in routes:
                if (route.day - MONDAY).days == weekday:
                    _drive(state, books, route, policy)
            pass_day(state, books)
    return books


def _drive(state: State, books: Books, route: Route, policy: Policy) -> None:
    van = state.world.assumed.van
    books.trips += route.cost
    for stop in route.stops:
        cabinets = np.flatnonzero(state.world.home == stop.place)
        _write_down(state, cabinets)
        wanted = np.maximum(policy.targets(state, cabinets) - state.stock[cabinets], 0)
        brought = _from_van(wanted, van)
        van -= int(brought.sum())
        state.stock[cabinets] += brought
        state.cash[cabinets], state.since[cabinets], state.broken[cabinets] = 0, 0, False
        state.visited[stop.place] = state.day
        books.visits[stop.place] += 1


def moment(day: int) -> float:
    """The beginning of a day of the simulation, in days since 1970."""
    return (MONDAY - EPOCH).days + float(day)


def _from_van(wanted: np.ndarray, van: int) -> np.ndarray:
    """What is wanted, or a like part of each where the van has less."""
    total = int(wanted.sum())
    return wanted if total <= van else wanted * van // max(total, 1)


def _write_down(state: State, cabinets: Iterable[int]) -> None:
    """A cabinet without prizes, or one that stood still: players would have played at least this often. Kinds that ran
    out took their players along for a part of the time."""
    missing = (state.world.appeal * (state.stock == 0)).sum(axis=1)
    for one in cabinets:
        out = bool(state.broken[one]) or not state.stock[one].any()
        since, now = moment(state.day - int(state.elapsed[one])), moment(state.day)
        state.stops[one] += state.broken[one]
        down = 0.0 if out else PARTLY * float(missing[one]) * (now - since)
        state.looks[one].append((since, now, int(state.since[one]), out, down))


def pass_day(state: State, books: Books) -> None:
    """One day: a kind that ran out takes its players along, and so does a fault. Prizes are charged to each play at
    their expected cost, so that more of them in a cabinet never earn less (the bound needs that)."""
    world, day = state.world, state.day
    state.broken |= world.breaks[:, day]
    drawn = np.where(state.broken, 0.0, (world.appeal * (state.stock > 0)).sum(axis=1))
    plays = np.floor(world.plays[:, day] * np.minimum(drawn, 1) + 1e-9).astype(int)
    won = np.where(state.broken[:, None], 0, np.minimum(world.wins[:, :, day], state.stock))
    state.stock -= won
    state.since += plays
    state.cash += plays * world.margin
    books.margin += world.by_location(plays * world.worth)
    books.lost += int(world.plays[:, day].sum() - plays.sum())
    books.wanted += int(world.plays[:, day].sum())
    books.holding += world.assumed.holding * float(state.stock.sum(axis=1) @ world.prize_cost)
    robbed = world.thefts[:, day][world.home]
    books.stolen += world.by_location(np.where(robbed, state.cash, 0))
    state.cash[robbed] = 0
    state.day += 1
