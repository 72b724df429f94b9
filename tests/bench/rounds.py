"""What policies of rounds earn in an invented business, on the same luck, beside what nobody can exceed.

Nothing here is measured by the clock but the seconds of planning, which are of one core: searches are limited by
iterations, so the money does not depend on the machine. Each seed is played in a process of its own, one a core.
`--with 60` measures one size only.

What else was tried and did not earn more. With 60 cabinets, on 8 to 16 seeds that were not reported, paired, each good
to 0.2 or 0.3 %, in percent of the profit:

    every cabinet's rate known of the weeks before and after              +0.2
    values of visits times 0.9 or 1.1                                     -0.2, -0.4
    costs of chances times 0.8 or 1.2                                     -0.2, -0.4
    the common part 0.2, 0.5 or 1                                         alike
    unseen stops left out, or a third more of them                        +0.1, +0.1
    all kinds of prizes as one                                            -0.1
    filling up only to newsvendor quantities                              +0.1 (keeping prizes is 1 % of the profit)
    seasons learned anew every four weeks                                 -0.1
    seasons taken whether they foretell better or not                     +0.2
    rounds every other week, with more stops                              -3.3
    two weeks planned at once, with the chances after each                -0.7 (one that may put off does so too often)
    chances that remember what the week before asked, as they do          -0.3 to -0.6 (correlation -0.14 to -0.38)
    chances by even and odd weeks                                         -0.7
    chances once a week at one cost each                                  0.0
    planning five days ahead twice a week, or ten once                    -1 to -2
    the rounds of four weeks as insertions into each other's              up to -3
    1,600 turns instead of 400                                            +0.1 (+0.9 of a week's gain)

With 300, beginning with nobody visited, a search that looks back for 20 turns, and territories of 100 places find as
much within what chance does (3 %), of 70 or 200 places 5 and 7 % less.
"""

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from statistics import mean
from typing import Any

import numpy as np

from routeapp.planning.rules_learn import Learned, learn
from tests.bench.simulator.bound import bound
from tests.bench.simulator.play import Books, Policy, State, play, warmed
from tests.bench.simulator.policies import Fixed, Ours, Threshold, own_periods
from tests.bench.simulator.world import USUAL, World, made

SIZES = (12, 60, 300)
TUNING, REPORTED = (101, 102), (1, 2, 3, 4, 5)
FIXED = {"weekly": 1, "fortnightly": 2, "three-weekly": 3}
LEAST = (0.25, 0.3, 0.35, 0.4, 0.45)  # parts of a fill tried for the threshold
COMMON = (0.2, 0.5, 1.0)  # parts of the ways out and back that stops bear, tried for ours


@dataclass
class Try:
    """One world after its warm-up, with all that policies may know of it."""

    world: World
    fixed: dict[int, Fixed]
    state: State
    taught: Learned

    def threshold(self, least: float) -> Policy:
        return Threshold(self.world, self.taught, least)

    def ours(self, common: float) -> Policy:
        return Ours(self.world, self.taught, common, self.fixed[2].bearing(common))


def prepared(cabinets: int, seed: int) -> Try:
    world = made(cabinets, seed)
    fixed: dict[int, Fixed] = {}
    for weeks in FIXED.values():
        fixed[weeks] = Fixed(world, weeks, fixed.get(weeks - 1))
    state = warmed(world, fixed[2])
    return Try(world, fixed, state, learn(state.known))


def run(*only: str) -> Iterator[dict[str, Any]]:
    for cabinets in [int(one) for one in only] or SIZES:
        yield from _size(cabinets)


def _size(cabinets: int) -> Iterator[dict[str, Any]]:
    with ProcessPoolExecutor(os.cpu_count()) as processes:
        tried = list(processes.map(partial(_tried, cabinets), TUNING))
        least, common = (_best([one[number] for one in tried]) for number in (0, 1))
        found = list(processes.map(partial(_played, cabinets, least, common), REPORTED))
    limits = [limit for limit, _ in found]
    books = {name: [each[name] for _, each in found] for name in found[0][1]}
    single = max(FIXED, key=lambda name: mean(each.profit for each in books[name]))
    for name, each in books.items():
        yield {"cabinets": cabinets, "policy": name, **_row(each, limits, books, single)}
    yield {
        "cabinets": cabinets,
        "best single fixed period": single,
        "tuned threshold": least,
        "tuned common part": common,
    }


def _tried(cabinets: int, seed: int) -> tuple[dict[float, float], dict[float, float]]:
    """What each part tried for the threshold, and for ours, earned with one seed."""
    one = prepared(cabinets, seed)
    threshold = {value: play(one.state, one.threshold(value)).profit for value in LEAST}
    return threshold, {value: play(one.state, one.ours(value)).profit for value in COMMON}


def _best(profits: Sequence[Mapping[float, float]]) -> float:
    return max(profits[0], key=lambda value: sum(one[value] for one in profits))


def _played(cabinets: int, least: float, common: float, seed: int) -> tuple[float, dict[str, Books]]:
    """The bound of one seed, and what each policy made of it."""
    one = prepared(cabinets, seed)
    return bound(one.world, one.state), _all(one, least, common)


def _all(one: Try, least: float, common: float) -> dict[str, Books]:
    fixed = {name: play(one.state, one.fixed[weeks]) for name, weeks in FIXED.items()}
    hindsight = own_periods(one.state, one.fixed, {FIXED[name]: books for name, books in fixed.items()})
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
