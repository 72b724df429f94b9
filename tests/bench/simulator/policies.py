"""Policies of rounds. All of them route by the same solver with the same number of iterations, and all fill up."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from routeapp.planning.rules_ahead import Rates, days_stopped, fault_rate, plays_lost, rates_of
from routeapp.planning.rules_bear import bearing
from routeapp.planning.rules_habit import WEEKS
from routeapp.planning.rules_learn import Learned
from routeapp.planning.rules_plan import Plan, Problem, Route
from routeapp.planning.rules_solve import solve
from routeapp.planning.rules_value import Outlook, shares
from tests.bench.simulator.play import Books, State, moment, play
from tests.bench.simulator.world import MONDAY, TRAVEL, WEEK, WORKING, World, working_days

DAYS = working_days()
ROUNDS = 3  # of choosing periods in hindsight
ITERATIONS = 400  # of one weekly plan
NO_LIMIT = 600.0  # seconds; the iterations decide
AHEAD = 70  # days


def must_visit(
    world: World, due: Sequence[int], loads: np.ndarray, people: int, iterations: int, warm: Plan | None = None
) -> Plan:
    """The cheapest week in which all these locations are visited."""
    places = tuple(world.place(one, dict.fromkeys(DAYS, 0), int(loads[one]), DAYS[-1]) for one in due)
    asked = Problem(places, world.workers(people), TRAVEL)
    return solve(asked, seconds=NO_LIMIT, iterations=iterations, warm=warm)


def expected_load(world: World, days: float) -> np.ndarray:
    """Prizes that an average location needs after so many days, as somebody who drives fixed rounds would guess."""
    usual = world.assumed.plays_mean * days / world.plays_per_prize
    return world.by_location(np.minimum(usual, world.room.sum(axis=1)))


class Filling:
    """Fills every cabinet up."""

    def targets(self, state: State, cabinets: np.ndarray) -> np.ndarray:
        return state.world.room[cabinets]


@dataclass
class Fixed(Filling):
    """Every location once in so many weeks, on the same days for ever. The rounds of the whole cycle are planned at
    once, as the rounds of one week with as many more people."""

    world: World
    weeks: int
    shorter: "Fixed | None" = None  # of fewer weeks: its rounds would do as well
    plan: Plan = field(init=False)
    cycle: list[list[Route]] = field(init=False)

    def __post_init__(self) -> None:
        world, people = self.world, self.world.people
        loads = expected_load(world, WEEK * self.weeks)
        before = self.shorter.plan if self.shorter else None
        everywhere = range(world.locations)
        self.plan = must_visit(world, everywhere, loads, people * self.weeks, 4 * ITERATIONS, before)
        self.cycle = [[] for _ in range(self.weeks)]
        for day in DAYS:
            for number, route in enumerate(route for route in self.plan.routes if route.day == day):
                self.cycle[(number + day.weekday()) % self.weeks].append(route)

    def week(self, state: State) -> Sequence[Route]:
        return self.cycle[state.day // WEEK % self.weeks]

    def bearing(self, common: float = 1.0) -> np.ndarray:
        """The part of a round's cost that each location bears."""
        return borne([route for routes in self.cycle for route in routes], self.world, common)


def borne(routes: Sequence[Route], world: World, common: float = 1.0) -> np.ndarray:
    """What each location bears of what its rounds cost."""
    cost = np.zeros(world.locations)
    for route in routes:
        stops = [stop.place for stop in route.stops]
        for stop, share in zip(stops, shares(_detours(world, stops), route.cost, common), strict=True):
            cost[stop] = share
    return cost


def _detours(world: World, stops: Sequence[int]) -> list[float]:
    """Cents that a round would save without each of its stops."""
    legs = world.legs
    chain = [-1, *stops, -1]
    saved = [
        legs[before, here] + legs[here, after] - legs[before, after] * (before != after)
        for before, here, after in zip(chain, chain[1:], chain[2:], strict=False)
    ]
    return [float(way + world.stay[stop]) for way, stop in zip(saved, stops, strict=True)]


@dataclass
class Periods(Filling):
    """Every location at a period of its own, in weeks. Who is due in a week may be visited on any of its days."""

    world: World
    periods: np.ndarray  # (L,) weeks
    weekly: Fixed
    plans: dict[tuple[int, ...], tuple[Route, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        groups = {stop.place: number for number, route in enumerate(self.weekly.cycle[0]) for stop in route.stops}
        self.phases = np.array([groups.get(one, 0) for one in range(self.world.locations)])

    def week(self, state: State) -> Sequence[Route]:
        number = state.day // WEEK
        due = tuple(np.flatnonzero((number + self.phases) % self.periods == 0).tolist())
        if due not in self.plans:
            loads = expected_load(self.world, WEEK) * self.periods
            self.plans[due] = must_visit(self.world, due, loads, self.world.people, ITERATIONS).routes
        return self.plans[due]


def own_periods(state: State, fixed: Mapping[int, Fixed], books: Mapping[int, Books]) -> Iterator[Books]:
    """What periods of locations make that would have earned most, by what each location earned and bore at each single
    period, and after that by what it bore when all drove at these."""
    world = state.world
    weeks = world.assumed.weeks
    earned = np.stack([books[period].margin - books[period].stolen for period in fixed])
    bears = np.stack([each.bearing() for each in fixed.values()])
    visits = np.array([weeks / period for period in fixed])[:, None]
    for _ in range(ROUNDS):
        periods = np.array(list(fixed))[np.argmax(earned - bears * visits, axis=0)]
        tried = Periods(world, periods, fixed[min(fixed)])
        yield play(state, tried)
        routes = [route for plan in tried.plans.values() for route in plan]
        bears = np.repeat(borne(routes, world)[None], len(fixed), axis=0)


@dataclass
class Learning(Filling):
    """What is believed of each cabinet, from what was written down at visits."""

    world: World
    taught: Learned

    def believed(self, state: State) -> Rates:
        """Of a usual day, by now."""
        return rates_of(self.taught.beliefs(state.known), self.usual_days(state, [0])[:, 0])

    def stops(self, state: State) -> np.ndarray:
        """A day, of each cabinet."""
        known = state.known
        return fault_rate([one.stops for one in known], [one.service for one in known], self.taught.stops)

    def usual_days(self, state: State, ahead: Sequence[float]) -> np.ndarray:
        """From the last visit of each cabinet until some days from now, (M, so many)."""
        home, now = self.world.home, moment(state.day)
        since = np.repeat(now - state.elapsed[:, None], len(ahead), axis=1)
        places = np.repeat(home[:, None], len(ahead), axis=1)
        return self.taught.seasons.days(places, since, np.broadcast_to(now + np.asarray(ahead, float), since.shape))

    def gone(self, state: State, rates: Rates, more: float = 0.0) -> np.ndarray:
        """Prizes of each cabinet that are expected to be won by now, or some days later."""
        plays = rates.mean * self.usual_days(state, [more])[:, 0]
        return np.minimum(plays / self.world.plays_per_prize, self.world.room.sum(axis=1))


@dataclass
class Threshold(Learning):
    """Visits a location in the week in which one of its cabinets is expected to fall below a part of its prizes."""

    least: float

    def week(self, state: State) -> Sequence[Route]:
        world, rates = self.world, self.believed(state)
        part = 1 - self.gone(state, rates, WORKING) / world.room.sum(axis=1)
        due = np.unique(world.home[part < self.least]).tolist()
        loads = world.by_location(self.gone(state, rates, 3))
        return must_visit(world, due, loads, world.people, ITERATIONS).routes


@dataclass
class Ours(Learning):
    """By the worth of a visit on each day of the week against the chances after it, at what the last weeks' rounds
    asked."""

    common: float  # part of what nobody's detour costs that all stops bear
    cost: np.ndarray  # (L,) what a visit is thought to cost before the first week
    costs: np.ndarray = field(init=False)  # (L, WEEKS) what one cost, or would have, in each of the last weeks

    def __post_init__(self) -> None:
        self.costs = np.repeat(self.cost[:, None], WEEKS, axis=1)

    def week(self, state: State) -> Sequence[Route]:
        world, rates = self.world, self.believed(state)
        waited = [(day - MONDAY).days for day in DAYS]
        worth = self.outlook(state, rates).worth(self.costs, waited, WEEK)
        cents = np.rint(worth).astype(int)
        loads = world.by_location(self.gone(state, rates, 3))
        places = tuple(
            world.place(one, dict(zip(DAYS, cents[one].tolist(), strict=True)), int(loads[one]))
            for one in range(world.locations)
        )
        asked = Problem(places, world.workers(), TRAVEL)
        plan = solve(asked, seconds=NO_LIMIT, iterations=ITERATIONS)
        bears = bearing(asked, [plan], self.common)
        newest = np.array([bears[one] for one in range(world.locations)])
        self.costs = np.hstack([self.costs[:, 1:], newest])
        return plan.routes

    def outlook(self, state: State, rates: Rates) -> Outlook:
        until = self.usual_days(state, range(AHEAD + 1))
        asked = np.append(np.arange(4), np.geomspace(4, until.max() + 1, 20))
        lost = self._lost(rates, self.stops(state), asked)
        each = list(zip(until, lost, strict=True))
        now = np.array([np.interp(days, asked, cents) - np.interp(days[0], asked, cents) for days, cents in each])
        fresh = np.array([np.interp(days - days[0], asked, cents) for days, cents in each])
        return Outlook(self.world.by_location(now), self.world.by_location(fresh))

    def _lost(self, rates: Rates, stops: np.ndarray, days: np.ndarray) -> np.ndarray:
        """Cents so many usual days after a visit, (M, so many)."""
        world, assumed = self.world, self.world.assumed
        until = np.tile(days, (world.cabinets, 1))
        lost = np.zeros(until.shape)
        for room, drawn in zip(world.room.T, world.appeal.T, strict=True):
            part = drawn / world.plays_per_prize
            won = Rates(rates.rates * part[:, None], rates.weights, rates.sizes)
            lost += plays_lost(won, part, room, until) * drawn[:, None]
        lost += rates.mean[:, None] * days_stopped(until, stops)
        lost *= world.worth[:, None]
        return lost + assumed.theft * (rates.mean * world.margin)[:, None] * days**2 / 2
