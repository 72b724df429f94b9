"""Small invented problems for the tests of planning: a depot at 50° N 8° E and places on a grid about it."""

from datetime import date, timedelta
from typing import Any

from routeapp.planning.rules_plan import Place, Point, Problem, Worker

MONDAY = date(2026, 5, 4)
DEPOT = Point(50.0, 8.0, "depot")
DAYS = tuple(MONDAY + timedelta(number) for number in range(5))
ALL_DAY = ((540, 1140),)


def place(id: int, east: float = 1.0, north: float = 0.0, **given: Any) -> Place:
    """A place some kilometres from the depot, open 9:00 to 19:00 every day, worth 50.00 on each."""
    usual = {
        "windows": dict.fromkeys(DAYS, ALL_DAY),
        "service": 10,
        "value": dict.fromkeys(DAYS, 5000),
    }
    return Place(id, 50 + north / 111.2, 8 + east / 71.7, **(usual | given))


def worker(person: int = 1, day: date = MONDAY, **given: Any) -> Worker:
    usual = {"shift": (480, 1020), "start": DEPOT, "end": DEPOT, "cost_per_hour": 2400, "cost_per_km": 40}
    return Worker(person, day, **(usual | given))


def problem(*places: Place, workers: tuple[Worker, ...] = (), **given: Any) -> Problem:
    return Problem(places, workers or (worker(),), **given)
