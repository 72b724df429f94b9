"""How long a week's rounds take to plan: the gain after 1 second beside that after 10 for 60 locations, and what comes
of 300 in 10 seconds and 2,000 in 60. The load of the machine stands beside, because it tells on these figures, and what
was reached in 1 second of the processor's own time, on which it does not. With a number (`--with 60`) only that one."""

import os
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from routeapp.planning.rules_plan import Place, Plan, Point, Problem, Worker
from routeapp.planning.rules_solve import solve
from tests.bench.memory import peak_mb

MONDAY = date(2026, 5, 4)
DAYS = tuple(MONDAY + timedelta(day) for day in range(5))
DEPOT = Point(50.0, 8.0, "depot")
HOURS = (((540, 1140),), ((540, 720), (780, 1080)), ((600, 1320),))


def run(only: str = "") -> Iterator[dict[str, Any]]:
    if only in ("", "60"):
        problem = asked(60, 1)
        short, long = timed(problem, 1.0), timed(problem, 10.0)
        warm = solve(problem, seconds=1.0, warm=long.plan)
        best = long.plan.gain
        reached = max((gain for spent, gain in long.steps if spent <= 1), default=0)
        more = {"percent_of_10_s": _percent(short.plan.gain, best), "in_1_s_of_the_processor": _percent(reached, best)}
        yield {"locations": 60, **_told(short), **more, **load()}
        yield {"locations": 60, **_told(long), "percent_of_10_s_from_it_in_1_s": _percent(warm.gain, best), **load()}
    if only in ("", "300"):
        yield {"locations": 300, **_told(timed(asked(300, 3), 10.0)), **load()}
    if only in ("", "2000"):
        yield {"locations": 2000, **_told(timed(asked(2000, 16), 60.0)), **load()}


def _percent(gain: int, best: int) -> float:
    return round(100 * gain / best, 2)


def asked(locations: int, people: int, seed: int = 1) -> Problem:
    """A week of an invented business: what each visit gains grows from day to day."""
    draw = random.Random(seed)
    spread = 0.25 * (locations / 60) ** 0.5
    places = tuple(_place(draw, number, spread) for number in range(locations))
    workers = tuple(
        Worker(person, day, (480, 1020), DEPOT, DEPOT, 2500, 40, 0, 600) for person in range(people) for day in DAYS
    )
    return Problem(places, workers)


def _place(draw: random.Random, number: int, spread: float) -> Place:
    lat, lon = 50 + draw.uniform(-spread, spread), 8 + 1.5 * draw.uniform(-spread, spread)
    windows = {day: draw.choice(HOURS) for day in DAYS if draw.random() < 0.9}
    base, growth = draw.uniform(0, 6000), draw.uniform(100, 600)
    value = {day: int(base + growth * later) for later, day in enumerate(DAYS)}
    return Place(number, lat, lon, windows, 12, value, load=20)


@dataclass(frozen=True)
class Timed:
    """A plan, the seconds it took and those until the first that could be driven; each better one by processor time."""

    plan: Plan
    seconds: float
    first: float
    steps: list[tuple[float, int]]


def timed(problem: Problem, seconds: float) -> Timed:
    first: list[float] = []
    steps: list[tuple[float, int]] = []
    began, spent = time.perf_counter(), time.process_time()

    def better(plan: Plan) -> None:
        first.append(time.perf_counter() - began)
        steps.append((time.process_time() - spent, plan.gain))

    plan = solve(problem, seconds=seconds, on_better=better)
    return Timed(plan, time.perf_counter() - began, first[0] if first else seconds, steps)


def _told(found: Timed) -> dict[str, Any]:
    stops = sum(len(route.stops) for route in found.plan.routes)
    figures = {"gain": found.plan.gain, "stops": stops, "left": len(found.plan.left), "megabytes": peak_mb()}
    return {"seconds": round(found.seconds, 2), "first_plan": round(found.first, 2), **figures}


def load() -> dict[str, float]:
    return {"load": round(os.getloadavg()[0], 1)}
