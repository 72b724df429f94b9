"""What each place is to bear of the rounds that reach it: its own detour, and a part of the way that is nobody's.
Without that part a place beside the road would be visited too often, and nobody would pay for the road."""

from statistics import median

from routeapp.planning.rules_drive import HOUR, KILOMETRE, Ways, follow, ways
from routeapp.planning.rules_plan import Place, Plan, Problem, Route, Worker
from routeapp.planning.rules_value import shares

COMMON = 0.5  # of what is nobody's detour; the bench of rounds tries 0.2, 0.5 and 1
STOPS_A_ROUND = 6  # that share a trip nobody has driven yet; common practice, no source


def bearing(problem: Problem, plan: Plan) -> dict[int, float]:
    """Cents by place: of a place in `plan` its share of its round, of others as much as those usually bear.

    Where no round is known, a place bears its part of a trip made for it alone.
    """
    table, places = ways(problem), {place.id: place for place in problem.places}
    workers = {worker.key: worker for worker in problem.workers}
    found: dict[int, float] = {}
    for route in plan.routes:
        detours = _detours(route, workers[route.key], table, places)
        ids = [stop.place for stop in route.stops]
        found |= dict(zip(ids, shares(detours, route.cost, COMMON), strict=True))
    usual = median(found.values()) if found else _alone(problem, table)
    return {place.id: found.get(place.id, usual) for place in problem.places}


def _detours(route: Route, worker: Worker, table: Ways, places: dict[int, Place]) -> list[float]:
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
