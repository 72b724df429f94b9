"""Fifty thousand steps of the machine of tests/settlements: visits, corrections, late visits, counts, deposits, terms,
settlements, voids, payments in any order; after each step, what must hold is looked at."""

import time
from collections.abc import Iterator
from typing import Any

from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.settlements.machine import Settling

STEPS, A_LINE = 50_000, 5_000
EXAMPLES, LENGTH = 25, 40  # in one go; then hypothesis begins with another seed


def run() -> Iterator[dict[str, Any]]:
    start, goes = time.perf_counter(), 0
    chosen = settings(
        max_examples=EXAMPLES,
        stateful_step_count=LENGTH,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate],  # what fails is printed as it came; shrinking it takes hours
    )
    for told in range(A_LINE, STEPS + 1, A_LINE):
        while Settling.steps < told:
            run_state_machine_as_test(Settling, settings=chosen)
            goes += 1
        seconds = round(time.perf_counter() - start)
        yield {"case": "steps that held", "steps": Settling.steps, "goes": goes, "seconds": seconds, "failed": 0}
