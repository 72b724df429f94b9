"""A comparison of six quotes with 100,000 futures, from the database to the finished rows, against the bare draw."""

import time
import tracemalloc
from collections.abc import Callable, Iterator
from datetime import date
from statistics import median
from typing import Any

import numpy as np

from machines.purchases.models import Quote
from machines.purchases.queries import quotes
from machines.purchases.queries_compare import compare
from machines.purchases.rules_chances import SHAPE, damage, lateness
from machines.purchases.rules_compare import Purpose
from machines.purchases.rules_futures import FUTURES, SEED
from routeapp.kit.access import OWNER
from tests import factories
from tests.machines.purchases.cast import quote, sea_quote

QUOTES, CABINETS, ROUNDS = 6, 3, 15
PURPOSE = Purpose(
    cabinets=CABINETS, weekly_cents=60_00, walk_away=0.02, elsewhere_weeks=8, damage_cents=150_00, damage_weeks=4,
    horizon_weeks=104, interest=0.08,
)  # fmt: skip
TODAY = date(2026, 5, 4)


def run() -> Iterator[dict[str, Any]]:
    owner, model = factories.person("ines", OWNER), factories.CabinetModelFactory()
    for number in range(QUOTES // 2):
        sea_quote(owner, model, name=f"Sea {number}", made_days=20 + number)
        quote(owner, model, name=f"Road {number}", transit_days=6 + number)
    times: list[list[float]] = [[], []]
    for _ in range(ROUNDS + 1):
        for did, found in zip((ours, bare), times, strict=True):
            found.append(milliseconds(did))
    mine, plain = (median(found[1:]) for found in times)  # the first round warms up
    yield {
        "case": f"{QUOTES} quotes, {FUTURES:,} futures",
        "ours": round(mine, 1),
        "baseline": round(plain, 1),
        "ratio": round(mine / plain, 2),
        "unit": "ms",
        "peak_mb": round(peak(ours), 1),
    }


def milliseconds(did: Callable[[], Any]) -> float:
    start = time.perf_counter()
    did()
    return (time.perf_counter() - start) * 1000


def peak(did: Callable[[], Any]) -> float:
    tracemalloc.start()
    did()
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most / 1e6


def ours() -> None:
    found = compare(quotes(), PURPOSE, TODAY, "UTC")
    if found is None or len(found.rows) != Quote.objects.count():
        raise RuntimeError("The comparison left quotes out.")


def bare() -> None:
    """The same numbers, drawn and thrown away."""
    random, late, broken = np.random.default_rng(SEED), lateness([]), damage(0, 0)
    random.standard_exponential(FUTURES)
    for _ in range(QUOTES):
        random.standard_gamma(SHAPE, FUTURES)
        random.standard_gamma(late.a, FUTURES)
        random.binomial(CABINETS, random.beta(broken.broken, broken.sound, FUTURES))
