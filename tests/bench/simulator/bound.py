"""More than any policy can earn, whatever it knows.

Five things are made easier, and none of them can lower the best profit:
1. Everything that will happen is known.
2. A play whose money is stolen brings nothing, but the prizes it costs come back; nor does any play cost more than it
   brings. So no play lowers the profit.
3. Each visit fills every cabinet up, whatever van and store hold, and what stands in a cabinet costs nothing. (More
   prizes in a cabinet never earn less: wins are drawn beforehand, plays grow with the kinds that are left, whether the
   money of a play is stolen depends on the days of visits alone, and by 2 no play lowers the profit.)
4. Any number of locations is visited on any working day on which they are open, without limit of shifts.
5. A visit costs no more than its own time and half of the two cheapest legs that can lead to and from it. In every
   round each stop has two legs, each leg belongs to at most two stops, and a leg of a stop to the depot and back counts
   twice only where the depot is the nearest. So the sum over all stops is never above what the rounds cost.

After that nothing ties locations together, and what happens between two visits depends on their days alone, because
each visit leaves the same full cabinets and empty boxes. The best days of each location are then found exactly, by
going backwards over the days.
"""

from copy import deepcopy
from dataclasses import replace

import numpy as np

from tests.bench.simulator.play import Books, State, pass_day
from tests.bench.simulator.world import WEEK, WORKING, World


def bound(world: World, at_start: State) -> float:
    """Cents over the reported weeks, from the state in which every policy begins."""
    world = eased(world)
    first = world.assumed.warm_up * WEEK
    span = world.days - first
    cheapest = cheapest_visits(world)
    open_on = np.array([[_open(world, row, first + day) for day in range(span)] for row in range(world.locations)])
    best = np.zeros((world.locations, span + 1))
    for day in range(span - 1, -1, -1):
        here = earned(world, _fresh(world, first + day))
        best[:, day] = _best_from(here, best, open_on, cheapest, day)
    start = earned(world, _begun(at_start, world))
    return float(_best_from(start, best, open_on, cheapest, 0, visit_now=True).sum())


def eased(world: World) -> World:
    """The same luck where the prizes of stolen plays come back and no play costs more than it brings."""
    return replace(world, margin=np.maximum(world.worth, 0), prize_cost=np.zeros(world.cabinets))


def _best_from(
    earned: np.ndarray, best: np.ndarray, open_on: np.ndarray, cheapest: np.ndarray, day: int, visit_now: bool = False
) -> np.ndarray:
    """From `day` on: until the end, or until the best next visit and what follows; by location. `earned` (L, n) is
    cumulative from `day`."""
    whole = earned[:, -1]
    skip = 0 if visit_now else 1
    then = earned[:, skip:-1] - cheapest[:, None] + best[:, day + skip : -1]
    then = np.where(open_on[:, day + skip :], then, -np.inf)
    return np.maximum(whole, then.max(axis=1, initial=-np.inf))


def _open(world: World, location: int, day: int) -> bool:
    return day % WEEK < WORKING and bool(world.windows[location][day % WEEK])


def _fresh(world: World, day: int) -> State:
    return State(world, world.room.copy(), day)


def _begun(at_start: State, world: World) -> State:
    state = deepcopy(at_start)
    state.world = world
    return state


def earned(world: World, state: State) -> np.ndarray:
    """Cents earned by location in the first 0, 1, 2 … days if nobody comes, (L, days + 1)."""
    sums = [np.zeros(world.locations)]
    books = Books(*(np.zeros(world.locations) for _ in range(3)))
    while state.day < world.days:
        pass_day(state, books)
        sums.append(books.margin - books.stolen)
    return np.stack(sums, axis=1)


def cheapest_visits(world: World) -> np.ndarray:
    """The least that a visit can add to the cost of all rounds, by location."""
    legs = np.minimum(world.legs, world.legs.T)
    np.fill_diagonal(legs, np.inf)
    near = np.sort(legs[:-1], axis=1)[:, :2]
    home_first = legs[:-1, -1] <= near[:, 0]
    second = np.where(home_first, near[:, 0], near[:, 1])
    return world.stay + (near[:, 0] + second) / 2
