"""How near the planner comes to published answers: two problems that stand in the tests, through the whole planner,
and with `--with FOLDER` each VRPLIB or Solomon file (*.vrp, *.txt) there that has its best known answer (*.sol) beside
it, by the same search, after 1 and 10 seconds."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pyvrp import CostEvaluator, read, read_solution

from routeapp.planning.rules_plan import Problem
from routeapp.planning.rules_search import Budget, searched
from routeapp.planning.rules_solve import solve
from tests.bench.planning_time import load
from tests.planning.published import BURMA14_BEST, E_N22_K4_BEST, burma14, e_n22_k4

SECONDS = (1.0, 10.0)


def run(*folders: str) -> Iterator[dict[str, Any]]:
    yield _stated("E-n22-k4", e_n22_k4(), E_N22_K4_BEST)
    yield _stated("burma14", burma14(), BURMA14_BEST)
    for folder in folders:
        yield from _files(Path(folder))


def _stated(name: str, problem: Problem, best: int) -> dict[str, Any]:
    began = time.perf_counter()
    plan = solve(problem, seconds=SECONDS[0])
    found = sum(route.metres for route in plan.routes) // 1000
    return {"instance": name, "best": best, "found": found, "seconds": round(time.perf_counter() - began, 2), **load()}


def _files(folder: Path) -> Iterator[dict[str, Any]]:
    if not folder.is_dir():
        yield {"folder": str(folder), "skipped": "There is no such folder."}
    for path in sorted([*folder.glob("*.vrp"), *folder.glob("*.txt")]):
        answer = path.with_suffix(".sol")
        if not answer.exists():
            yield {"instance": path.stem, "skipped": f"There is no {answer.name} beside it."}
            continue
        rounding = "dimacs" if path.suffix == ".txt" else "round"
        data = read(path, rounding)
        unit = 10 if rounding == "dimacs" else 1
        best = CostEvaluator([0] * data.num_load_dimensions, 0, 0).cost(read_solution(answer, data))
        gaps = {f"gap_percent_{seconds:.0f}_s": _gap(data, seconds, best) for seconds in SECONDS}
        yield {"instance": path.stem, "best": best / unit, **gaps, **load()}


def _gap(data: Any, seconds: float, best: int) -> float | None:
    found = searched(data, Budget(seconds))
    cost = CostEvaluator([0] * data.num_load_dimensions, 0, 0).cost(found)
    return round(100 * (cost / best - 1), 2) if found.is_feasible() else None
