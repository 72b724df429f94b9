"""How long a week's rounds take to plan: the gain after 1 second beside that after 10 for 60 locations, and what comes
of 300 in 10 seconds and 2,000 in 60. The load of the machine stands beside, because it tells on these figures."""

import os
import random
import time
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

from routeapp.planning.rules_plan import Place, Plan, Point, Problem, Worker
from routeapp.planning.rules_solve import solve
from tests.bench.memory import peak_mb

MONDAY = date(2026, 5, 4)
DAYS = tuple(MONDAY + timedelta(day) for day in range(5))
DEPOT = Point(50.0, 8.0, "depot")
HOURS = (((540, 1140),), ((540, 720), (780, 1080)), ((600, 1320),))


def run() -> Iterator[dict[str, Any]]:
    problem = asked(60, 1)
    short, long = timed(problem, 1.0), timed(problem, 10.0)
    warm = solve(problem, seconds=1.0, warm=long[0])
    yield {"locations": 60, **_told(short), "percent_of_10_s": round(100 * short[0].gain / long[0].gain, 2), **load()}
    yield {"locations": 60, **_told(long), "percent_of_10_s_from_it_in_1_s": round(100 * warm.gain / long[0].gain, 2)}
    yield {"locations": 300, **_told(timed(asked(300, 3), 10.0)), **load()}
    yield {"locations": 2000, **_told(timed(asked(2000, 16), 60.0)), **load()}


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


def timed(problem: Problem, seconds: float) -> tuple[Plan, float, float]:
    """A plan, the seconds it took and those until the first that could be driven."""
    first: list[float] = []
    began = time.perf_counter()
    plan = solve(problem, seconds=seconds, on_better=lambda _: first.append(time.perf_counter() - began))
    return plan, time.perf_counter() - began, first[0] if first else seconds


def _told(found: tuple[Plan, float, float]) -> dict[str, Any]:
    plan, seconds, first = found
    stops = sum(len(route.stops) for route in plan.routes)
    figures = {"gain": plan.gain, "stops": stops, "left": len(plan.left), "megabytes": peak_mb()}
    return {"seconds": round(seconds, 2), "first_plan": round(first, 2), **figures}


def load() -> dict[str, float]:
    return {"load": round(os.getloadavg()[0], 1)}
