"""What each place is to bear of the rounds that reach it: at the mere detour a place beside the road would be visited
too often, and nobody would pay for the road."""

from collections.abc import Mapping
from statistics import median

from routeapp.planning.rules_drive import HOUR, KILOMETRE, follow
from routeapp.planning.rules_plan import Plan, Problem, Route, Worker
from routeapp.planning.rules_value import shares

STOPS_A_ROUND = 6  # that share a trip nobody has driven yet; common practice, no source


def bearing(problem: Problem, plan: Plan) -> dict[int, float]:
    """Cents by place: of a place in `plan` its share of its round, of others as much as those usually bear.

    Where no round is known, a place bears its part of a trip made for it alone.
    """
    workers = {worker.key: worker for worker in problem.workers}
    found: dict[int, float] = {}
    for route in plan.routes:
        own = _own(route, workers[route.key])
        found |= dict(zip(own, shares(list(own.values()), route.cost), strict=True))
    usual = median(found.values()) if found else _alone(problem)
    return {place.id: found.get(place.id, usual) for place in problem.places}


def _own(route: Route, worker: Worker) -> Mapping[int, int]:
    """Cents of the way to each stop from the one before, and of the time there."""
    costs, left = {}, route.leaves
    for stop in route.stops:
        minutes = stop.departure - left
        costs[stop.place] = round(
            worker.cost_per_km * stop.metres / KILOMETRE + worker.cost_per_hour * minutes * 60 / HOUR
        )
        left = stop.departure
    return costs


def _alone(problem: Problem) -> float:
    """What a stop bears where a trip for one place, at its middle cost, is shared."""
    if not problem.workers:
        return 0.0
    worker = problem.workers[0]
    trips = [follow(problem, {worker.key: [place.id]}).cost for place in problem.places[:20] if place.located]
    return median(trips) / STOPS_A_ROUND if trips else 0.0
