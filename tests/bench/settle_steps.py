"""Fifty thousand steps of the machine of tests/settlements: visits, corrections, late visits, counts, deposits, terms,
statements of cards and bank, settlements, voids, payments in any order; after each step, what must hold is looked at.

Two processes share the steps, each with a database of its own. `--with 2000` takes that many steps in all.
"""

import multiprocessing
import os
import shutil
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from django.db import connection
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.settlements.machine import Settling

STEPS, PROCESSES, SHARES = 50_000, 2, 20
EXAMPLES, LENGTH = 10, 40  # in one go; then hypothesis begins with another seed


def run(steps: str = str(STEPS)) -> Iterator[dict[str, Any]]:
    start, done, goes = time.perf_counter(), 0, 0
    connection.close()
    fork = multiprocessing.get_context("fork")
    with ProcessPoolExecutor(PROCESSES, mp_context=fork, initializer=take_own_database) as pool:
        for held, gone in pool.map(take_steps, [int(steps) // SHARES] * SHARES):
            done, goes = done + held, goes + gone
            seconds = round(time.perf_counter() - start)
            yield {"case": "steps that held", "steps": done, "goes": goes, "seconds": seconds, "failed": 0}


def take_own_database() -> None:
    own = Path(connection.settings_dict["NAME"]).with_suffix(f".{os.getpid()}")
    shutil.copy(connection.settings_dict["NAME"], own)
    connection.settings_dict["NAME"] = str(own)


def take_steps(wanted: int) -> tuple[int, int]:
    """How many steps held, and in how many goes. What fails is raised as it came: shrinking it takes hours."""
    chosen = settings(
        max_examples=EXAMPLES,
        stateful_step_count=LENGTH,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate],
    )
    before, goes = Settling.steps, 0
    while Settling.steps - before < wanted:
        run_state_machine_as_test(Settling, settings=chosen)
        goes += 1
    return Settling.steps - before, goes
