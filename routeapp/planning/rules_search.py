"""The search for better orders: one territory by the solver, many territories one after another."""

import math
import random
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from pyvrp import (
    IteratedLocalSearch,
    IteratedLocalSearchParams,
    PenaltyManager,
    PenaltyParams,
    ProblemData,
    RandomNumberGenerator,
    Solution,
)
from pyvrp.IteratedLocalSearch import IteratedLocalSearchCallbacks
from pyvrp.search import OPERATORS, LocalSearch, PerturbationManager, compute_neighbours
from pyvrp.stop import MaxIterations, MaxRuntime, MultipleCriteria, NoImprovement, StoppingCriterion

from routeapp.planning.rules_drive import Ways
from routeapp.planning.rules_model import Model, model
from routeapp.planning.rules_plan import Place, Point, Shift, Worker
from routeapp.planning.rules_sift import Offer, Sifted

TERRITORY = 150  # places in one model; above, several small searches find more than a large one in the same time
PATIENCE = 3_000  # iterations without anything better after which a search is as good as done
HISTORY = 100  # how long the search looks back before it takes a worse turn; found by trying
PENALTIES = PenaltyParams(max_penalty=1e12)  # a visit wanted at any cost must not pay for a van that is too small
PASSES = 2  # how often each territory is searched anew when iterations, not seconds, are the limit

Orders = dict[Shift, list[int]]


@dataclass(frozen=True)
class Budget:
    """How long to search: seconds by the clock, and iterations of one model where the same answer is wanted whatever
    else the machine does."""

    seconds: float
    iterations: int | None = None
    seed: int = 0
    started: float = field(default_factory=time.monotonic)

    @property
    def left(self) -> float:
        return max(self.started + self.seconds - time.monotonic(), 0.0)

    def share(self, parts: int) -> "Budget":
        return replace(self, seconds=self.left / max(parts, 1), started=time.monotonic())

    def stop(self) -> MultipleCriteria:
        """Criteria count from their first question, so each search needs new ones."""
        criteria: list[StoppingCriterion] = [MaxRuntime(self.left), NoImprovement(PATIENCE)]
        return MultipleCriteria([*criteria, *([MaxIterations(self.iterations)] if self.iterations else [])])


@dataclass(frozen=True)
class Search:
    table: Ways
    sifted: Sifted
    budget: Budget
    found: Callable[[Orders], None]  # told of each better answer

    def run(self, workers: Sequence[Worker], orders: Orders) -> Orders:
        """Better orders than `orders` for all workers."""
        if not workers or not (self.sifted.offers or self.sifted.firsts):
            return {}
        if len(self.sifted.offers) <= TERRITORY or len(workers) == 1 and len(self.sifted.offers) <= 2 * TERRITORY:
            return self.territory(workers, list(self.sifted.offers), orders, self.budget)
        return self._territories(workers, orders)

    def territory(self, workers: Sequence[Worker], places: Sequence[int], orders: Orders, budget: Budget) -> Orders:
        """One model: these workers may serve these places. Orders of other workers stay."""
        offers = [self.sifted.offers[place] for place in places]
        made = model(workers, offers, self.table, self.sifted.firsts)
        if not made.copies:
            return orders
        start = made.solution(orders) if any(orders.get(worker.key) for worker in workers) else None
        telling = _Telling(lambda solution: self.found(orders | made.orders(solution)))
        best = searched(made.data, budget, telling, start)
        best = best if best.is_feasible() else _nobody_late(made, start)
        nothing: Orders = {worker.key: [] for worker in workers}
        return orders | nothing | made.orders(best)

    def _territories(self, workers: Sequence[Worker], orders: Orders) -> Orders:
        draw = random.Random(self.budget.seed)
        parts = list(_bisected(workers, list(self.sifted.offers), self.sifted.offers))
        first, again = self.budget.share(2), PASSES * len(parts)
        if not any(orders.values()):
            for number, (some, places) in enumerate(parts):
                budget = first.share(len(parts) - number)
                orders = self.territory(some, self._promising(some, places), orders, budget)
        while self.budget.left and (again or not self.budget.iterations):
            some, places = self._neighbours(workers, orders, draw)
            budget = self.budget.share(max(1, min(again, round(self.budget.left / 2))))
            orders = self.territory(some, places, orders, replace(budget, seed=draw.randrange(2**31)))
            again -= 1
        return orders

    def _promising(self, workers: Sequence[Worker], places: Sequence[int]) -> list[int]:
        hourly = sum(worker.cost_per_hour for worker in workers) / len(workers)
        return sorted(places, key=lambda one: -_worth(self.sifted.offers[one], hourly))[:TERRITORY]

    def _neighbours(
        self, workers: Sequence[Worker], orders: Orders, draw: random.Random
    ) -> tuple[list[Worker], list[int]]:
        """A few shifts that drive in the same parts, their stops, and what lies about unserved."""
        centres = {worker.key: self._centre(worker, orders) for worker in workers}
        middle = centres[draw.choice(workers).key]
        near = sorted(workers, key=lambda one: math.dist(middle, centres[one.key]))
        some: list[Worker] = []
        places: list[int] = []
        for worker in near:
            served = [one for one in orders.get(worker.key, ()) if one in self.sifted.offers]
            if some and len(places) + len(served) > TERRITORY * 2 // 3:
                break
            some.append(worker)
            places += served
        taken = {one for order in orders.values() for one in order}
        free = [one for one in self.sifted.offers if one not in taken]
        free.sort(key=lambda one: math.dist(middle, self._spot(one)) * draw.uniform(0.7, 1.3))
        return some, places + free[: max(TERRITORY - len(places), 0)]

    def _spot(self, place: int) -> tuple[float, float]:
        return _flat(self.sifted.offers[place][0].place)

    def _centre(self, worker: Worker, orders: Orders) -> tuple[float, float]:
        spots = [self._spot(one) for one in orders.get(worker.key, ()) if one in self.sifted.offers]
        if not spots:
            return _flat(worker.start) if worker.start else (0.0, 0.0)
        return sum(spot[0] for spot in spots) / len(spots), sum(spot[1] for spot in spots) / len(spots)


def _flat(spot: Place | Point) -> tuple[float, float]:
    """Degrees of latitude north and, as long as those, east."""
    lat, lon = spot.lat or 0.0, spot.lon or 0.0
    return lat, lon * math.cos(math.radians(lat))


def _worth(offers: Sequence[Offer], hourly: float) -> float:
    place = offers[0].place
    return max(place.value.get(offer.day, 0) for offer in offers) - hourly * place.service / 60


def _bisected(
    workers: Sequence[Worker], places: list[int], offers: Mapping[int, Sequence[Offer]]
) -> Iterator[tuple[list[Worker], list[int]]]:
    """Places halved along their longer side again and again, with a like part of the shifts for each half."""
    workers = sorted(workers, key=lambda one: (one.person, one.day))
    if len(workers) == 1 or len(places) <= TERRITORY:
        yield list(workers), places
        return
    spots = {one: _flat(offers[one][0].place) for one in places}
    north, east = zip(*spots.values(), strict=True)
    wide = max(east) - min(east) > max(north) - min(north)
    ordered = sorted(places, key=lambda one: spots[one][int(wide)])
    half = len(workers) // 2
    cut = len(ordered) * half // len(workers)
    yield from _bisected(workers[:half], ordered[:cut], offers)
    yield from _bisected(workers[half:], ordered[cut:], offers)


def _nobody_late(made: Model, start: Solution | None) -> Solution:
    """When the search ended before anything could be driven: what it began with, or nothing."""
    return start if start is not None and start.is_feasible() else Solution(made.data, [])


def searched(
    data: ProblemData,
    budget: Budget,
    callbacks: IteratedLocalSearchCallbacks | None = None,
    start: Solution | None = None,
) -> Solution:
    """The best answer to one model within a budget."""
    draw = RandomNumberGenerator(seed=budget.seed)
    local = LocalSearch(data, draw, compute_neighbours(data), PerturbationManager())
    for operator in OPERATORS:
        if operator.supports(data):
            local.add_operator(operator(data))
    penalties = PenaltyManager(PENALTIES.midpoint_penalties(data), PENALTIES)
    first = start or local(Solution.make_random(data, draw), penalties.max_cost_evaluator(), exhaustive=True)
    params = IteratedLocalSearchParams(history_length=HISTORY, callbacks=callbacks)  # type: ignore[arg-type]
    return IteratedLocalSearch(data, penalties, local, first, params).run(budget.stop(), False).best


class _Telling(IteratedLocalSearchCallbacks):
    """Tells of better answers as they are found, not more often than the eye can follow."""

    EVERY = 0.2  # seconds

    def __init__(self, tell: Callable[[Solution], None]) -> None:
        self._tell, self._last = tell, -math.inf

    def on_start(self, ils: object) -> None:
        if ils.initial_solution.is_feasible():  # type: ignore[attr-defined]
            self.on_best(ils.initial_solution)  # type: ignore[attr-defined]

    def on_best(self, best: Solution) -> None:
        if time.monotonic() - self._last >= self.EVERY:
            self._tell(best)
            self._last = time.monotonic()
