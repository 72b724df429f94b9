"""How often a cabinet is played, learned from its intervals: a Bayes filter on a grid of rates, many cabinets at once.

Units: rates in plays a day, time in days (a day may be a calendar day weighted by the season, see rules_season).
Shapes: a Belief has one grid of G rates and weights of shape (..., G); whatever is asked of it has the shape (...).

Plays of an interval of d days at rate r are negative binomial with mean r·d and size k·d, so that neighbouring
intervals add up (a gamma process driving a Poisson one). Between intervals the logarithm of the rate wanders: a
reflected random walk on the grid, whose cosine transform makes any number of days one multiplication.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy.linalg import eigh_tridiagonal
from scipy.special import betainc, gammainc, gammaln

Array = np.ndarray
NODES = 160  # rates on a grid
STEP = 4.0  # by which a grid grows where its ends do not reach what was seen
TOGETHER = 4  # of them answer as one where plays are foretold
SHORTEST = 1 / 48  # days; shorter intervals tell nothing
MOST_PLAYS = 1e9
LEAST = -24.0  # logarithm of the smallest weight a prior gives a rate: what is seen outweighs it, doubles still tell
PARTLY = 1 / 3  # of an interval that a kind found out had been out; so forecasts of what is lost come true in the bench
CHANGE = 0.3  # deviation of the logarithm of a rate or share before and after a change; found by simulation
STEADY = 1e7  # a size this large is a Poisson process


class Stretch(NamedTuple):
    """One interval of a cabinet. `plays` None: nobody can tell. `empty`: it was found without prizes, so players
    would have played at least this often. `changed`: its price changed since the interval before."""

    days: float
    plays: float | None
    empty: bool = False
    changed: bool = False


@dataclass(frozen=True)
class Prior:
    """What is known of a kind of cabinet before one is seen: rates are gamma with this `shape` and mean; `size` is of
    the plays of one day; `drift` is the standard deviation by which the logarithm of a rate wanders in one day."""

    shape: float = 1.5
    mean: float = 12.0
    size: float = 1.5
    drift: float = 0.03

    @property
    def change_days(self) -> float:
        """In which a rate wanders as far as a change of price may move it."""
        return (CHANGE / max(self.drift, 1e-3)) ** 2


@dataclass(frozen=True)
class Belief:
    """What is believed of the rates of some cabinets (plays a day): `weights` of the last axis sum to one."""

    grid: Array
    weights: Array
    prior: Prior

    @property
    def mean(self) -> Array:
        return self.weights @ self.grid

    def quantile(self, part: float) -> Array:
        """The rate below which it lies with a chance of `part`. A node's weight lies evenly around it."""
        sums = np.cumsum(self.weights, axis=-1)
        node = np.minimum(np.argmax(sums >= part, axis=-1)[..., None], len(self.grid) - 1)
        inside = np.take_along_axis((sums - part) / np.maximum(self.weights, 1e-300), node, axis=-1)[..., 0]
        step = np.log(self.grid[1] / self.grid[0])
        return self.grid[node[..., 0]] * np.exp(step * (0.5 - np.clip(inside, 0, 1)))

    def later(self, days: Array | float) -> "Belief":
        """After so many days without news."""
        walk = _walk(self.prior, self.grid[0], self.grid[-1], len(self.grid))
        fade = np.exp(-walk.speeds * np.maximum(0, np.asarray(days, float))[..., None])
        moved = np.maximum(((self.weights @ walk.into) * fade) @ walk.back, 0)
        return replace(self, weights=moved / moved.sum(axis=-1, keepdims=True))

    def changed(self) -> "Belief":
        """After the price changed: what was seen before tells as much as if it were long ago."""
        return self.later(self.prior.change_days)

    def at(self, *which: int) -> "Belief":
        return replace(self, weights=self.weights[which])

    def around(self, days: Array | float) -> "Predictive":
        """Of an interval of so many days in whose middle this is believed."""
        rates, weights = _fewer(self)
        days = np.broadcast_to(np.maximum(days, 1e-9), weights.shape[:-1])[..., None]
        return Predictive(rates * days, self.prior.size * days, weights)


@dataclass(frozen=True)
class Predictive:
    """Counts to come: negative binomials of these `means` and `sizes` (..., n), mixed by `weights` (..., n)."""

    means: Array
    sizes: Array
    weights: Array

    @property
    def mean(self) -> Array:
        return np.sum(self.weights * self.means, axis=-1)

    @property
    def variance(self) -> Array:
        each = self.means + self.means**2 / self.sizes + self.means**2
        return np.sum(self.weights * each, axis=-1) - self.mean**2

    def at_least(self, count: Array | float) -> Array:
        """The chance of so many or more."""
        return np.sum(self.weights * _at_least(np.asarray(count, float)[..., None], self.means, self.sizes), axis=-1)

    def cdf(self, count: Array | float) -> Array:
        """The chance of so many or fewer."""
        return 1 - self.at_least(np.floor(count) + 1)

    def quantile(self, part: float) -> Array:
        """The smallest count that is not exceeded with a chance of `part`, by halving."""
        low = np.full(self.mean.shape, -1.0)
        high = np.ceil(self.mean + 12 * np.sqrt(self.variance) + 12)
        while np.any(high - low > 1):
            middle = np.floor((low + high) / 2)
            enough = self.cdf(middle) >= part
            low, high = np.where(enough, low, middle), np.where(enough, middle, high)
        return high

    def beyond(self, limit: Array | float) -> Array:
        """The expected number above a limit: what is asked for and not there. E[(N - limit)+], limit from zero up."""
        limit = np.asarray(limit, float)[..., None]
        wanted = self.means * _at_least(limit, self.means * (1 + 1 / self.sizes), self.sizes + 1)
        return np.sum(self.weights * (wanted - limit * _at_least(limit + 1, self.means, self.sizes)), axis=-1)


def _at_least(count: Array, mean: Array, size: Array) -> Array:
    """P(N >= count) of a negative binomial; of a Poisson where it is that within what doubles can tell."""
    count = np.maximum(count, 0)
    if np.size(size) and np.min(size) >= STEADY:
        chance = gammainc(np.maximum(count, 1e-300), mean)
    else:
        chance = betainc(np.maximum(count, 1e-300), size, mean / (mean + size))
    return np.where(count > 0, chance, 1.0)


def _fewer(belief: Belief) -> tuple[Array, Array]:
    """Rates and weights with neighbours put together; the mean stays what it is."""
    weights = belief.weights.reshape(*belief.weights.shape[:-1], -1, TOGETHER)
    grid = np.broadcast_to(belief.grid, belief.weights.shape).reshape(weights.shape)
    sums = weights.sum(axis=-1)
    middle = grid.mean(axis=-1)
    return np.where(sums > 1e-300, (weights * grid).sum(axis=-1) / np.maximum(sums, 1e-300), middle), sums


class Walk(NamedTuple):
    """A walk over the grid by its own directions: into them, how fast each fades in a day, and back."""

    into: Array
    speeds: Array
    back: Array


@lru_cache(maxsize=64)
def _walk(prior: Prior, low: float, high: float, nodes: int) -> Walk:
    """Steps to the neighbours such that a lot of cabinets as the prior has them stays as it is: a rate far out comes
    back in the long run, and one found empty time after time does not climb for ever. The chain is reversible, so
    it has real directions."""
    grid = np.geomspace(low, high, nodes)
    logs = np.maximum(_density(prior, grid), LEAST)
    half = np.exp(logs / 2)
    pace = prior.drift**2 / 2 / np.log(grid[1] / grid[0]) ** 2
    leave = np.zeros(nodes)
    leave[:-1] += half[1:] / half[:-1]
    leave[1:] += half[:-1] / half[1:]
    speeds, directions = eigh_tridiagonal(pace * leave, np.full(nodes - 1, -pace))
    return Walk(directions / half[:, None], np.maximum(speeds, 0), directions.T * half)


def _density(prior: Prior, grid: Array) -> Array:
    """Logarithm of the prior's weight at each rate of an evenly spaced grid, the largest 0."""
    logs = prior.shape * (np.log(grid) - grid / prior.mean)
    return logs - logs.max()


def start(prior: Prior, grid: Array, cabinets: int = 1) -> Belief:
    """What is believed of cabinets nobody has seen yet."""
    weights = np.exp(np.maximum(_density(prior, grid), LEAST))
    return Belief(grid, np.tile(weights / weights.sum(), (cabinets, 1)), prior)


def grid_for(prior: Prior, rates: Array) -> Array:
    """Rates evenly spaced in their logarithms, wide enough for the prior and for crude `rates` that were seen."""
    return np.geomspace(*reach(prior, rates), NODES)


def reach(prior: Prior, rates: Array) -> tuple[float, float]:
    """The ends of a grid: in steps, so that one more interval seldom moves them."""
    seen = rates[rates > 0]
    low, high = prior.mean / 200, prior.mean * 10
    if len(seen):
        low /= STEP ** max(0, np.ceil(np.log(4 * low / seen.min()) / np.log(STEP)))
        high *= STEP ** max(0, np.ceil(np.log(4 * seen.max() / high) / np.log(STEP)))
    return max(float(low), 1e-4), min(float(high), 1e6)


class Intervals(NamedTuple):
    """Intervals of many cabinets side by side, oldest first, the newest of all in the last column; shape (M, T).
    Where `told` is False only time passes, and where there is nothing not even that."""

    days: Array
    plays: Array
    told: Array
    empty: Array
    changed: Array


def side_by_side(cabinets: Sequence[Sequence[Stretch]]) -> Intervals:
    """Stretches of no length say nothing and are left out."""
    kept = [[one for one in each if one.days >= SHORTEST] for each in cabinets]
    shape = len(kept), max((len(each) for each in kept), default=0)
    days, plays = np.zeros(shape), np.zeros(shape)
    told, empty, changed = (np.zeros(shape, bool) for _ in range(3))
    for row, each in enumerate(kept):
        if each:
            place = slice(shape[1] - len(each), None)
            days[row, place] = [one.days for one in each]
            plays[row, place] = [min(max(0, one.plays or 0), MOST_PLAYS) for one in each]
            told[row, place] = [one.plays is not None for one in each]
            empty[row, place] = [one.empty for one in each]
            changed[row, place] = [one.changed for one in each]
    return Intervals(days, plays, told, empty, changed)


def likelihood(grid: Array, size: float, days: Array, plays: Array, told: Array, empty: Array) -> Array:
    """Logarithm of the chance of one interval of each cabinet at each rate, (M, G); of at least that many where the
    cabinet was found empty; zero where nothing was told."""
    found = np.zeros((len(days), len(grid)))
    exact, least = told & ~empty, told & empty & (plays > 0)
    if exact.any():
        n, d = plays[exact, None], days[exact, None]
        if size >= STEADY:
            found[exact] = n * np.log(grid * d) - grid * d - gammaln(n + 1)
        else:
            kept = gammaln(n + size * d) - gammaln(size * d) - gammaln(n + 1)
            found[exact] = kept + size * d * np.log(size / (size + grid)) + n * np.log(grid / (size + grid))
    if least.any():
        n, d = plays[least, None], days[least, None]
        found[least] = np.log(np.maximum(_at_least(n, grid * d, size * d), 1e-300))
    return found


class Filtered(NamedTuple):
    """The belief at the end of the last interval, and how well each interval was foretold: the logarithm of the
    chance it had, (M, T). `foretold` holds what was foretold of each interval, if it was asked for."""

    belief: Belief
    scores: Array
    foretold: list[Predictive]


def filtered(intervals: Intervals, prior: Prior, grid: Array | None = None, keep: bool = False) -> Filtered:
    """Go through the intervals of many cabinets, oldest first. Half of an interval's drift comes before it is told
    and half after, because its plays tell of its middle."""
    days, plays, told, empty, changed = intervals
    if grid is None:
        grid = grid_for(prior, seen_rates(intervals))
    belief, scores = start(prior, grid, len(days)), np.zeros(days.shape)
    foretold: list[Predictive] = []
    waited = np.zeros(len(days))
    for step in range(days.shape[1]):
        belief = belief.later(waited + prior.change_days * changed[:, step] + days[:, step] / 2)
        waited = days[:, step] / 2
        if keep:
            foretold.append(belief.around(days[:, step]))
        logs = likelihood(grid, prior.size, days[:, step], plays[:, step], told[:, step], empty[:, step])
        top = logs.max(axis=1, keepdims=True)
        weights = belief.weights * np.exp(np.maximum(logs - top, 5 * LEAST))
        total = weights.sum(axis=1, keepdims=True)
        scores[:, step] = np.log(total[:, 0]) + top[:, 0]
        belief = replace(belief, weights=weights / total)
    return Filtered(belief.later(waited), scores, foretold)


def seen_rates(intervals: Intervals) -> Array:
    """The rates that a grid must reach: of each cabinet as a whole and of each of its intervals."""
    each = intervals.plays[intervals.told] / intervals.days[intervals.told]
    return np.concatenate([crude(intervals), each / 2])


def crude(intervals: Intervals) -> Array:
    """Plays over days of each cabinet, by all intervals that tell; 0 where none does."""
    days = (intervals.days * intervals.told).sum(axis=1)
    return np.where(days > 0, intervals.plays.sum(axis=1) / np.maximum(days, SHORTEST), 0.0)
