"""Plans rounds: which places to visit on which day, by whom, in which order, and why the rest is left."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from routeapp.planning.rules_drive import Ways, detours, follow, ways
from routeapp.planning.rules_plan import Left, Place, Plan, Problem, Shift, Worker
from routeapp.planning.rules_search import Budget, Search
from routeapp.planning.rules_sift import Sifted, insisted, sift

NOT_WORTH_IT = "A visit would gain less than the way costs."
NO_ROOM = "The shifts have no room for it; the other stops gain more."
INSISTED_NO_ROOM = "It has to be visited, but no shift has room for it."


def solve(
    problem: Problem,
    *,
    seconds: float = 10.0,
    iterations: int | None = None,
    seed: int = 0,
    warm: Plan | None = None,
    on_better: Callable[[Plan], None] | None = None,
) -> Plan:
    """The best plan found in `seconds`, or in fewer when nothing better turns up; `iterations` limits it further, for
    the same answer on any machine. Starts from the plan `warm`, and tells `on_better` of each better one meanwhile."""
    problem = _distinct(problem)
    budget = Budget(seconds, iterations, seed)
    table = ways(problem)
    sifted = sift(problem, table)
    known = {place.id: place for place in problem.places}

    def planned(orders: Mapping[Shift, Sequence[int]]) -> Plan:
        whole = {key: [place.id for place in first] for key, first in sifted.firsts.items()}
        for key, order in orders.items():
            whole[key] = [*whole.get(key, []), *order]
        driven = follow(problem, whole, table)
        return replace(driven, left=_left(problem, driven, sifted, table, known))

    search = Search(table, sifted, budget, lambda orders: on_better(planned(orders)) if on_better else None)
    start = {
        key: [one for one in order if one in sifted.offers] for key, order in (warm.orders if warm else {}).items()
    }
    return planned(search.run(problem.workers, start))


def _distinct(problem: Problem) -> Problem:
    """Each id and each shift once: the first that was given."""
    places = {place.id: place for place in reversed(problem.places)}
    workers = {worker.key: worker for worker in reversed(problem.workers)}
    return replace(problem, places=tuple(reversed(places.values())), workers=tuple(reversed(workers.values())))


def _left(problem: Problem, driven: Plan, sifted: Sifted, table: Ways, known: Mapping[int, Place]) -> tuple[Left, ...]:
    """What is not visited, in the order of the problem."""
    served = {stop.place for route in driven.routes for stop in route.stops}
    free = [one for one in sifted.offers if one not in served]
    costs = dict(zip(free, _detours(problem.workers, driven, sifted, table, free), strict=True))
    left = []
    for place in problem.places:
        if place.id in sifted.refused:
            left.append(Left(place.id, sifted.refused[place.id]))
        elif place.id in costs:
            left.append(_passed_over(known[place.id], *costs[place.id]))
    return tuple(left)


def _passed_over(place: Place, gain: float, detour: float) -> Left:
    if insisted(place):
        return Left(place.id, INSISTED_NO_ROOM, round(detour))
    return Left(place.id, NO_ROOM if gain > 0 else NOT_WORTH_IT, round(detour))


def _detours(
    workers: Sequence[Worker], driven: Plan, sifted: Sifted, table: Ways, free: Sequence[int]
) -> list[tuple[float, float]]:
    """For each place the gain and the cost of squeezing it in where it would pay most, were there time."""
    if not free:
        return []
    rows = np.array([table.rows[one] for one in free])
    service = np.array([60 * sifted.offers[one][0].place.service for one in free])
    best, detour = np.full(len(free), -np.inf), np.zeros(len(free))
    for worker in workers:
        days = [{offer.day for offer in sifted.offers[one]} for one in free]
        values = np.array(
            [
                sifted.offers[one][0].place.value.get(worker.day, 0) if worker.day in day else -np.inf
                for one, day in zip(free, days, strict=True)
            ]
        )
        cost = detours(worker, driven.orders.get(worker.key, ()), rows, service, table)
        better = values - cost > best
        best, detour = np.where(better, values - cost, best), np.where(better, cost, detour)
    return list(zip(best.tolist(), detour.tolist(), strict=True))
