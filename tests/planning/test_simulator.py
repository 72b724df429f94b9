"""The invented business on which policies of rounds are compared, in small."""

from dataclasses import replace

import numpy as np
import pytest

from routeapp.planning.rules_learn import learn
from tests.bench.simulator.bound import bound, cheapest_visits, earned, eased
from tests.bench.simulator.play import Books, State, play, warmed
from tests.bench.simulator.policies import Fixed, Ours, Periods, Threshold
from tests.bench.simulator.world import USUAL, World, made

SMALL = replace(USUAL, warm_up=4, weeks=6)


@pytest.fixture(scope="module")
def world() -> World:
    return made(8, 3, SMALL)


@pytest.fixture(scope="module")
def weekly(world: World) -> Fixed:
    return Fixed(world, 1)


@pytest.fixture(scope="module")
def start(world: World, weekly: Fixed) -> State:
    return warmed(world, weekly)


def test_same_seed_same_luck(world):
    again = made(8, 3, SMALL)
    assert np.array_equal(world.plays, again.plays)
    assert np.array_equal(world.wins, again.wins)


def test_fixed_round_visits_every_location_once_in_a_cycle(world):
    stops = [stop.place for routes in Fixed(world, 2).cycle for route in routes for stop in route.stops]
    assert sorted(stops) == list(range(world.locations))


def test_plays_are_made_or_lost(world, start, weekly):
    books = play(start, weekly)
    reported = world.plays[:, 7 * SMALL.warm_up :].sum()
    assert books.wanted == reported
    assert books.margin.sum() <= float(world.worth @ world.plays[:, 7 * SMALL.warm_up :].sum(axis=1))
    assert books.visits.sum() == SMALL.weeks * world.locations


def test_policy_leaves_the_start_as_it_was(start, weekly):
    before = start.stock.copy()
    assert play(start, weekly).profit == play(start, weekly).profit
    assert np.array_equal(start.stock, before)


def test_nobody_earns_more_than_the_bound(world, start, weekly):
    taught = learn(start.known)
    every_other = Periods(world, np.full(world.locations, 2), weekly)
    policies = (weekly, every_other, Threshold(world, taught, 0.3), Ours(world, taught, 0.3, weekly.bearing(0.3)))
    found: list[Books] = [play(start, policy) for policy in policies]
    assert max(books.profit for books in found) <= bound(world, start)


def test_no_round_costs_less_than_its_stops_at_the_least(world, weekly):
    least = cheapest_visits(world)
    for routes in weekly.cycle:
        for route in routes:
            assert sum(least[stop.place] for stop in route.stops) <= route.cost + 1


def test_fewer_prizes_never_earn_more_where_the_bound_is_reckoned():
    """Else it would be none: a cabinet that ran empty loses no prizes to plays whose money is stolen."""
    world = made(8, 3, replace(SMALL, theft=0.2))
    fewer = world.room // np.arange(2, 10)[:, None]
    full, scarce = (earned(eased(world), State(eased(world), stock.copy())) for stock in (world.room, fewer))
    assert np.all(scarce <= full + 1e-6)
    plain = [earned(world, State(world, stock.copy())) for stock in (world.room, fewer)]
    assert np.any(plain[1] > plain[0] + 1e-6)
