"""Pages and the full weekly report while history grows a hundredfold and the number of cabinets stays."""

import time
from collections.abc import Callable, Iterator
from statistics import median
from typing import Any

from django.db import connection

from routeapp.cash.models import CashMove
from routeapp.cash.queries import TAKE, take
from routeapp.earnings.queries_take import Monday
from tests.bench import growth_load
from tests.bench.pages import addresses, note, paired, plain
from tests.bench.server import Client, served

SIZES = (10_000, 100_000, 1_000_000)
ROUNDS = 5
PLAIN = """
    SELECT location_id, date(day, 'weekday 0', '-6 days'),
           sum(CASE from_purse WHEN 'players' THEN cents ELSE -cents END)
    FROM routeapp_cashmove WHERE from_purse = 'players' OR to_purse = 'players' GROUP BY 1, 2
"""


def run() -> Iterator[dict[str, Any]]:
    world = growth_load.make_business()
    first: dict[str, float] = {}
    for size in SIZES:
        growth_load.fill(world, size)
        connection.close()  # with it go the settings for loading
        for name, ours, bare in measured(world):
            grown = round(ours / first.setdefault(name, ours), 2)
            yield figures(f"{name}, {size:,} entries", ours, bare) | {"grown": grown}
        yield figures(f"weekly take of every location, {size:,} entries", *full_report())


def figures(case: str, ours: float, bare: float) -> dict[str, Any]:
    rounded = {"ours": round(ours, 1), "baseline": round(bare, 1), "ratio": round(ours / bare, 2)}
    return {"case": case, **rounded, "unit": "ms"}


def measured(world: Any) -> Iterator[tuple[str, float, float]]:
    """(page, ours, bare) in milliseconds, each time after somebody noted something."""
    with served() as port:
        client = Client(port, world.owner)
        for name, address in addresses().items():
            bare = f"/bench/page/{len(plain(port, world.owner, address))}/"
            yield name, *paired(client, address, bare, lambda: note(world.owner))


def full_report() -> tuple[float, float]:
    """Our query and plain SQL with the same answer, in turn."""
    weeks = take(CashMove.objects.all()).order_by().values_list("location", Monday("day")).annotate(cents=TAKE)
    questions: list[Callable[[], list]] = [lambda: list(weeks.all()), plain_rows]
    ours, plain = ({(place, str(week), cents) for place, week, cents in ask()} for ask in questions)
    if ours != plain:
        raise RuntimeError("The report and plain SQL disagree.")
    times: list[list[float]] = [[], []]
    for _ in range(ROUNDS):
        for ask, found in zip(questions, times, strict=True):
            start = time.perf_counter()
            ask()
            found.append((time.perf_counter() - start) * 1000)
    return median(times[0]), median(times[1])


def plain_rows() -> list[tuple]:
    with connection.cursor() as cursor:
        return list(cursor.execute(PLAIN).fetchall())
