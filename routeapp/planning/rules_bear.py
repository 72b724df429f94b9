"""What each place is to bear of the rounds that reach it: its own detour, and a part of the way that is nobody's.
Without that part a place beside the road would be visited too often, and nobody would pay for the road."""

from collections.abc import Sequence
from statistics import median

import numpy as np

from routeapp.planning.rules_drive import HOUR, KILOMETRE, Ways, detours, follow, ways
from routeapp.planning.rules_plan import Place, Plan, Problem, Route, Worker
from routeapp.planning.rules_value import shares

COMMON = 0.5  # of what is nobody's detour; the bench of rounds tries 0.2, 0.5 and 1
STOPS_A_ROUND = 6  # that share a trip nobody has driven yet; common practice, no source


def bearing(
    problem: Problem, plans: Sequence[Plan], common: float = COMMON, table: Ways | None = None
) -> dict[int, list[float]]:
    """Cents by place in each of `plans`: of a place that it visits its share of the round, of others the cheapest way
    they could have come in. Where no plan drives, a place bears its part of a trip made for it alone."""
    table, driven = table or ways(problem), [plan for plan in plans if plan.routes]
    each = [_borne(problem, plan, table, common) for plan in driven] or [
        dict.fromkeys(table.rows, _alone(problem, table))
    ]
    return {place: [one[place] for one in each] for place in table.rows}


def _borne(problem: Problem, plan: Plan, table: Ways, common: float) -> dict[int, float]:
    places = {place.id: place for place in problem.places}
    workers = {worker.key: worker for worker in problem.workers}
    found = _passing(problem, plan, table)
    for route in plan.routes:
        saved = _saved(route, workers[route.key], table, places)
        ids = [stop.place for stop in route.stops]
        found |= dict(zip(ids, shares(saved, route.cost, common), strict=True))
    return found


def _passing(problem: Problem, plan: Plan, table: Ways) -> dict[int, float]:
    """What each place would have cost in the round, or the unused shift, that it fits best while it is open."""
    located = [place for place in problem.places if place.located]
    service = np.array([60 * place.service for place in located])
    rows = np.array([table.rows[place.id] for place in located])
    best = detours(problem.workers[0], (), rows, service, table)  # a trip of its own
    for worker in problem.workers:
        cost = detours(worker, plan.orders.get(worker.key, ()), rows, service, table)
        is_open = np.array([bool(place.windows.get(worker.day)) for place in located])
        best = np.where(is_open, np.minimum(best, cost), best)
    return dict(zip((place.id for place in located), best.tolist(), strict=True))


def _saved(route: Route, worker: Worker, table: Ways, places: dict[int, Place]) -> list[float]:
    """Cents the round would save without each of its stops."""

    def way(start: int, end: int) -> float:
        metres, seconds = float(table.metres[start, end]), float(table.seconds[start, end])
        return worker.cost_per_km * metres / KILOMETRE + worker.cost_per_hour * seconds / HOUR

    rows = [table.rows[stop.place] for stop in route.stops]
    chain = [table.starts[worker.key], *rows, table.ends[worker.key]]
    ways_saved = (
        way(before, here) + way(here, after) - way(before, after)
        for before, here, after in zip(chain, chain[1:], chain[2:], strict=False)
    )
    return [
        saved + worker.cost_per_hour * places[stop.place].service / 60
        for saved, stop in zip(ways_saved, route.stops, strict=True)
    ]


def _alone(problem: Problem, table: Ways) -> float:
    """What a stop bears where a trip for one place, at its middle cost, is shared."""
    if not problem.workers:
        return 0.0
    worker = problem.workers[0]
    trips = [follow(problem, {worker.key: [place.id]}, table).cost for place in problem.places[:20] if place.located]
    return median(trips) / STOPS_A_ROUND if trips else 0.0
