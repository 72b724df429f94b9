"""How good forecasts of plays are: on published counts, on an invented route, and on daily counts in files given by
path (CSV with the columns series, day, count), on which visits every 5 to 12 days are imposed.

Each line: share of outcomes in 80 % ranges with how far it is from 0.8 by chance alone, bias, CRPS as a part of the
mean count, and beside it the mean error of the naive rate (plays over days of the last four intervals), which is the
CRPS of a forecast that is sure of it.

A range of counts covers more than its chance, the more so the smaller they are. So an outcome counts for the part of
its stretch of chances, from F(n - 1) to F(n), that lies in the range (the non-randomised PIT of Czado, Gneiting and
Held, Biometrics 65, 2009, 1254-1261; from memory); `in_range` counts it in full.
"""

import csv
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from routeapp.planning.rules_learn import Known, Learned, learn
from routeapp.planning.rules_prior import fitted
from routeapp.planning.rules_rate import Array, Predictive, Prior, Stretch, filtered, side_by_side
from tests.planning.counts import DISCOVERIES, EARTHQUAKES, MINES, PRODUCT_C, chance, people, years

SEED, CABINETS, DAYS = 11, 60, 540
AFTER = 8  # intervals that are foretold after a change of price
BLOCKS, HELD_OUT = 4, 0.4  # what is held out is told block by block, and all is learned anew before each
SEASON = [0.6, 0.6, 0.8, 1.0, 1.1, 1.3, 1.9, 1.8, 1.0, 0.7, 0.6, 0.6]


def run(*files: str) -> Iterator[dict[str, Any]]:
    published = {
        "epilepsy": _series(people(), 3),
        "mines": _series(years(MINES), 50),
        "discoveries": _series(years(DISCOVERIES), 50),
        "earthquakes": _series(years(EARTHQUAKES), 50),
    }
    yield from ({"data": name, **score.line()} for name, score in published.items())
    yield {"data": "all published counts", **sum(published.values(), _Score()).line()}
    yield from _intermittent()
    yield _held_out("simulator", _route())
    yield from _changes()
    for file in files:
        yield _held_out(Path(file).name, _imposed(Path(file)))
    yield _speed()


def _series(cabinets: list[list[Stretch]], first: int) -> "_Score":
    """Figures from the first intervals, forecasts of the others one by one."""
    prior = fitted([one[:first] for one in cabinets])
    every = side_by_side(cabinets)
    told = filtered(every, prior, keep=True)
    score = _Score()
    for step in range(first, every.days.shape[1]):
        naive = [_naive(one[:step], one[step].days) for one in cabinets]
        score.add(told.foretold[step], every.plays[:, step], (0.1, 0.9), naive)
    return score


def _intermittent() -> Iterator[dict[str, Any]]:
    """One step ahead on productC: ours, Croston's and Syntetos and Boylan's."""
    stretches, first = years(PRODUCT_C)[0], 12
    prior = fitted([stretches[:first]])
    means = filtered(side_by_side([stretches]), prior, keep=True).foretold
    ours = [float(means[step].mean[0]) for step in range(first, len(PRODUCT_C))]
    for name, found in (
        ("ours", ours),
        ("croston", [croston(PRODUCT_C[:step]) for step in range(first, len(PRODUCT_C))]),
        ("syntetos-boylan", [croston(PRODUCT_C[:step], corrected=True) for step in range(first, len(PRODUCT_C))]),
    ):
        errors = np.array(found) - np.array(PRODUCT_C[first:])
        yield {"data": "productC", "method": name, "bias": _round(errors.mean()), "rmse": _round(_rms(errors))}


def croston(demand: Sequence[float], alpha: float = 0.1, corrected: bool = False) -> float:
    """Croston's forecast of intermittent demand a period (Operational Research Quarterly 23, 1972), started with the
    first size and the first gap; `corrected` by Syntetos and Boylan (International Journal of Forecasting 21, 2005)."""
    size = gap = None
    since = 0
    for one in demand:
        since += 1
        if one > 0:
            size = float(one) if size is None else size + alpha * (one - size)
            gap = float(since) if gap is None else gap + alpha * (since - gap)
            since = 0
    if size is None or gap is None:
        return 0.0
    return size / gap * (1 - alpha / 2 if corrected else 1)


PARTS = np.arange(0.025, 1, 0.05)  # quantiles that stand for a distribution in its score


def crps(predictive: Predictive, came: Array) -> Array:
    """The continuous ranked probability score of each forecast (the less the better; in counts), as twice the mean
    pinball loss of its quantiles (Gneiting and Raftery, JASA 102, 2007, section 4.2)."""
    at = np.array([predictive.quantile(part) for part in PARTS])
    parts = PARTS.reshape(-1, *[1] * np.ndim(came))
    return 2 * np.mean(np.where(came >= at, parts * (came - at), (1 - parts) * (at - came)), axis=0)


@dataclass
class _Score:
    number: int = 0
    inside: float = 0.0
    in_range: int = 0
    expected: float = 0.0
    came: float = 0.0
    score: float = 0.0
    naive: float = 0.0

    def __add__(self, other: "_Score") -> "_Score":
        return _Score(*(one + more for one, more in zip(astuple(self), astuple(other), strict=True)))

    def add(self, foretold: Predictive, came: np.ndarray, levels: tuple[float, float], naive: list[float]) -> None:
        below, above = foretold.cdf(came - 1), foretold.cdf(came)
        part = (np.minimum(above, levels[1]) - np.maximum(below, levels[0])) / np.maximum(above - below, 1e-12)
        self.inside += float(np.clip(part, 0, 1).sum())
        self.in_range += int(((came >= foretold.quantile(levels[0])) & (came <= foretold.quantile(levels[1]))).sum())
        self.number += len(came)
        self.expected += float(foretold.mean.sum())
        self.came += float(came.sum())
        self.score += float(crps(foretold, came).sum())
        self.naive += float(np.abs(np.array(naive) - came).sum())

    def line(self) -> dict[str, Any]:
        return {
            "forecasts": self.number,
            "covered": _round(self.inside / self.number),
            "by_chance": _round(chance(self.number)),
            "in_range": _round(self.in_range / self.number),
            "bias": _round(self.expected / self.came - 1),
            "crps": _round(self.score / self.came),
            "naive": _round(self.naive / self.came),
        }


def _held_out(name: str, cabinets: list[Known]) -> dict[str, Any]:
    """Learned from the past alone, block by block. Intervals cut short by an empty cabinet are not judged."""
    ends = np.sort([look[1] for one in cabinets for look in one.looks])
    edges = np.quantile(ends, np.linspace(1 - HELD_OUT, 1, BLOCKS + 1))
    score, seasons = _Score(), []
    for start, end in zip(edges, edges[1:], strict=False):
        learned = learn([_until(one, start) for one in cabinets])
        seasons.append(learned.helped)
        for kind in dict.fromkeys(one.kind for one in cabinets):
            _judge(score, learned, [_until(one, end) for one in cabinets if one.kind == kind], start)
    return {"data": name, **score.line(), "seasons": seasons}


def _judge(score: _Score, learned: Learned, cabinets: list[Known], start: float) -> None:
    stretches = [learned.stretches(one) for one in cabinets]
    intervals = side_by_side(stretches)
    told = filtered(intervals, learned.prior(cabinets[0].kind), keep=True)
    width = intervals.days.shape[1]
    for step in range(width):
        at = [step - width + len(one) for one in stretches]
        rows = [
            row
            for row, place in enumerate(at)
            if place >= 4 and cabinets[row].looks[place][1] > start and not intervals.empty[row, step]
        ]
        if rows:
            foretold = told.foretold[step]
            picked = Predictive(foretold.means[rows], foretold.sizes[rows], foretold.weights[rows])
            naive = [_naive(stretches[row][: at[row]], stretches[row][at[row]].days) for row in rows]
            score.add(picked, intervals.plays[rows, step], learned.range_of(cabinets[0].kind), naive)


def _changes() -> Iterator[dict[str, Any]]:
    """The eight intervals after the price of each of 60 invented cabinets changed, and with it their plays: foretold
    without and with knowing of it."""
    for effect, spread in ((0.0, 0.0), (-0.3, 0.2), (-0.7, 0.3)):
        random = np.random.default_rng(SEED)
        rates = random.gamma(3, 7, CABINETS)
        cabinets = [_changed(rate, float(random.normal(effect, spread)), random) for rate in rates]
        prior = fitted([one[:-AFTER] for one in cabinets])
        for known in (False, True):
            told = [[*one[:-AFTER], one[-AFTER]._replace(changed=known), *one[1 - AFTER :]] for one in cabinets]
            intervals, score = side_by_side(told), _Score()
            foretold = filtered(intervals, prior, keep=True).foretold
            for step in range(-AFTER, 0):
                naive = [_naive(one[:step], one[step].days) for one in cabinets]
                score.add(foretold[step], intervals.plays[:, step], (0.1, 0.9), naive)
            yield {"data": f"price changed, plays times {np.exp(effect):.2f}", "known": known, **score.line()}


def _changed(rate: float, effect: float, random: np.random.Generator) -> list[Stretch]:
    days = random.integers(5, 13, 20 + AFTER)
    drift = np.cumsum(random.normal(0, 0.02 * np.sqrt(days)))
    rates = rate * np.exp(drift + effect * (np.arange(len(days)) >= 20))
    plays = random.negative_binomial(2 * days, 2 / (2 + rates))
    return [Stretch(float(length), int(count)) for length, count in zip(days, plays, strict=True)]


def _until(one: Known, end: float) -> Known:
    return Known(one.kind, one.place, [look for look in one.looks if look[1] <= end])


def _naive(past: list[Stretch], days: float) -> float:
    last = past[-4:]
    return days * sum(one.plays or 0 for one in last) / max(1e-9, sum(one.days for one in last))


def _route() -> list[Known]:
    """Invented: gamma rates, a drift of 2 % a day, one season for all, negative binomial days, weekly or longer gaps,
    prizes for about ten days."""
    random = np.random.default_rng(SEED)
    first = 20_000.0
    days = np.arange(DAYS) + first
    months = days.astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12
    found = []
    for number, rate in enumerate(random.gamma(3, 7, CABINETS)):
        drift = np.exp(np.cumsum(random.normal(0, 0.02, DAYS)))
        means = rate * np.array(SEASON)[months] * drift
        counts = random.negative_binomial(2, 2 / (2 + means))
        found.append(Known("claw", number % 20, _visited(counts, first, random, round(10 * rate))))
    return found


def _visited(counts: Any, first: float, random: Any, most: float = np.inf) -> list[Any]:
    """Daily counts as visits every 5 to 12 days see them; a cabinet stops at `most`."""
    looks, start = [], 0
    while start + 12 < len(counts):
        end = start + int(random.integers(5, 13))
        plays = int(min(most, sum(counts[start:end])))
        looks.append((first + start, first + end, plays, plays >= most, 0.0))
        start = end
    return looks


def _imposed(file: Path) -> list[Known]:
    series: dict[str, dict[int, int]] = defaultdict(dict)
    with file.open() as lines:
        for row in csv.DictReader(lines):
            series[row["series"]][int(row["day"])] = int(row["count"])
    random = np.random.default_rng(SEED)
    found = []
    for name, counts in series.items():
        first, last = min(counts), max(counts)
        every = [counts.get(day, 0) for day in range(first, last + 1)]
        found.append(Known("series", name, _visited(every, float(first), random)))
    return found


def _speed() -> dict[str, Any]:
    """2,000 cabinets with 50 intervals each, and what is foretold of two weeks."""
    random = np.random.default_rng(SEED)
    rates, days = random.gamma(2, 10, 2000), random.uniform(3, 21, (2000, 50))
    plays = random.negative_binomial(1.5 * days, 1.5 / (1.5 + rates[:, None]))
    cabinets = [[Stretch(*one) for one in zip(*each, strict=True)] for each in zip(days, plays, strict=True)]
    start = time.perf_counter()
    ahead = filtered(side_by_side(cabinets), Prior(2, 20)).belief.later(14.0 / 3).around(14.0)
    ahead.quantile(0.1), ahead.quantile(0.9)
    return {"data": "2000 cabinets, 50 intervals", "seconds": _round(time.perf_counter() - start)}


def _rms(errors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def _round(figure: float) -> float:
    return round(float(figure), 3)
