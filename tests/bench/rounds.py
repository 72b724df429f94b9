"""What policies of rounds earn in an invented business, on the same luck, beside what nobody can exceed.

Nothing here is measured by the clock but the seconds of planning, which are of one core: searches are limited by
iterations, so the money does not depend on the machine. `--with 60` measures one size only.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from statistics import mean
from typing import Any

import numpy as np

from routeapp.planning.rules_prior import fitted
from routeapp.planning.rules_rate import Prior
from tests.bench.simulator.bound import bound
from tests.bench.simulator.play import Books, Policy, State, play, warmed
from tests.bench.simulator.policies import Fixed, Ours, Periods, Threshold, chosen_periods
from tests.bench.simulator.world import USUAL, World, made

SIZES = (12, 60, 300)
TUNING, REPORTED = (101, 102), (1, 2, 3, 4, 5)
FIXED = {"weekly": 1, "fortnightly": 2, "three-weekly": 3}
LEAST = (0.15, 0.25, 0.35, 0.45)  # parts of a fill tried for the threshold
COMMON = (0.0, 0.2, 0.4)  # parts of the ways out and back that stops bear, tried for ours


@dataclass
class Try:
    """One world after its warm-up, with all that policies may know of it."""

    world: World
    fixed: dict[int, Fixed]
    state: State
    prior: Prior

    def threshold(self, least: float) -> Policy:
        return Threshold(self.world, self.prior, least)

    def ours(self, common: float) -> Policy:
        return Ours(self.world, self.prior, common, self.fixed[2].bearing(common))


def prepared(cabinets: int, seed: int) -> Try:
    world = made(cabinets, seed)
    fixed: dict[int, Fixed] = {}
    for weeks in FIXED.values():
        fixed[weeks] = Fixed(world, weeks, fixed.get(weeks - 1))
    state = warmed(world, fixed[2])
    return Try(world, fixed, state, fitted(state.history))


def run(*only: str) -> Iterator[dict[str, Any]]:
    for cabinets in [int(one) for one in only] or SIZES:
        yield from _size(cabinets)


def _size(cabinets: int) -> Iterator[dict[str, Any]]:
    tuning = [prepared(cabinets, seed) for seed in TUNING]
    least = _best(LEAST, lambda value: mean(play(one.state, one.threshold(value)).profit for one in tuning))
    common = _best(COMMON, lambda value: mean(play(one.state, one.ours(value)).profit for one in tuning))
    books: dict[str, list[Books]] = {}
    limits = []
    for seed in REPORTED:
        one = prepared(cabinets, seed)
        limits.append(bound(one.world, one.state))
        for name, found in _all(one, least, common).items():
            books.setdefault(name, []).append(found)
    single = max(FIXED, key=lambda name: mean(each.profit for each in books[name]))
    for name, found in books.items():
        yield {"cabinets": cabinets, "policy": name, **_row(found, limits, books, single)}
    yield {
        "cabinets": cabinets,
        "best single fixed period": single,
        "tuned threshold": least,
        "tuned common part": common,
    }


def _best(values: tuple[float, ...], profit: Callable[[float], float]) -> float:
    return max(values, key=profit)


def _all(one: Try, least: float, common: float) -> dict[str, Books]:
    fixed = {name: play(one.state, one.fixed[weeks]) for name, weeks in FIXED.items()}
    periods = chosen_periods(one.state, one.fixed, {FIXED[name]: books for name, books in fixed.items()})
    hindsight = [play(one.state, Periods(one.world, each, one.fixed[1])) for each in periods]
    own = max([*hindsight, *fixed.values()], key=lambda books: books.profit)
    return fixed | {
        "own period each": own,
        "threshold": play(one.state, one.threshold(least)),
        "ours": play(one.state, one.ours(common)),
    }


def _row(found: list[Books], limits: list[float], books: dict[str, list[Books]], single: str) -> dict[str, Any]:
    """Means over the seeds; profits against others are of the sums."""
    weeks, profit = USUAL.weeks, sum(one.profit for one in found)

    def over(name: str) -> float:
        return round(100 * (profit / sum(one.profit for one in books[name]) - 1), 1)

    return {
        "profit_a_week": round(profit / len(found) / weeks / 100, 2),
        "percent_of_bound": round(100 * profit / sum(limits), 1),
        "percent_over_single_fixed": over(single),
        "percent_over_own_periods": over("own period each"),
        "percent_over_threshold": over("threshold"),
        "visits_a_week": round(float(np.mean([one.visits.sum() for one in found])) / weeks, 1),
        "percent_plays_lost": round(100 * sum(one.lost for one in found) / sum(one.wanted for one in found), 1),
        "planning_seconds_a_week": round(mean(one.planning for one in found) / weeks, 3),
    }
