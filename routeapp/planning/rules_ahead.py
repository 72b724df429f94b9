"""From how often cabinets are played to what is left in them, when they run empty and what is lost then.

Shapes: M cabinets, n rates each. Days are usual days, as seasons weigh them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from routeapp.planning.rules_prior import gamma_poisson
from routeapp.planning.rules_rate import CHANGE, Array, Belief, Predictive

SPREAD = ((-np.sqrt(3.0), 1 / 6), (0.0, 2 / 3), (np.sqrt(3.0), 1 / 6))  # Gauss-Hermite: three points of a normal
LONGEST = 365.0  # days until empty beyond which nobody asks
FEWEST = 4  # cabinets that make a common share worth estimating


@dataclass(frozen=True)
class Rates:
    """`rates` a day (M, n) with their `weights` (M, n), and the size (M, 1) of a day's negative binomial."""

    rates: Array
    weights: Array
    sizes: Array

    @property
    def mean(self) -> Array:
        return np.sum(self.rates * self.weights, axis=1)

    def counts(self, days: Array | float) -> Predictive:
        """Of so many days: one number, or one for each cabinet."""
        days = np.broadcast_to(np.maximum(days, 1e-9), self.rates.shape[:1])[:, None]
        return Predictive(self.rates * days, self.sizes * days, self.weights)

    def shared(self, part: Array, variance: Array) -> "Rates":
        """Of what happens in a part of the plays, its logarithm known up to a variance (M,)."""
        rates = [self.rates * (part * np.exp(np.sqrt(variance) * at - variance / 2))[:, None] for at, _ in SPREAD]
        weights = [self.weights * weight for _, weight in SPREAD]
        return Rates(np.concatenate(rates, axis=1), np.concatenate(weights, axis=1), self.sizes)

    def rows(self, rows: Sequence[int] | Array) -> "Rates":
        return Rates(self.rates[rows], self.weights[rows], self.sizes[rows])


def rates_of(beliefs: Sequence[Belief], waited: Array) -> Rates:
    """The beliefs about some cabinets side by side, each after `waited` usual days without news."""
    if not beliefs:
        return Rates(np.zeros((0, 1)), np.zeros((0, 1)), np.ones((0, 1)))
    each = [belief.later(float(days)).around(1.0) for belief, days in zip(beliefs, waited, strict=True)]
    return Rates(*(np.stack([getattr(one, name) for one in each]) for name in ("means", "weights", "sizes")))


@dataclass(frozen=True)
class Shares:
    """Prizes won in a play (M,), and the variance of the logarithm of each."""

    part: Array
    variance: Array


def share_prior(won: Sequence[int], plays: Sequence[float], usual: float = 0.1) -> tuple[float, float]:
    """Shape and rate of the gamma from which plays per prize of cabinets of one kind come; by the `usual` share where
    nobody won or played."""
    prizes, tries = np.asarray(won, float), np.asarray(plays, float)
    told = (tries > 0) & (prizes > 0)
    if told.sum() >= FEWEST:
        shape, rate = gamma_poisson(prizes[told], tries[told])
        return min(shape, 50.0), rate * min(shape, 50.0) / shape
    return 1.0, float(tries[told].sum() / prizes[told].sum()) if told.any() else 1 / usual


def since_change(won: float, plays: float, won_before: float, plays_before: float) -> tuple[float, float]:
    """Of all prizes `won` in some `plays` those that tell, where grip or payout changed after the first of them: what
    was won before counts as no more prizes than tell a share as well as a change leaves it (variance 1 / n)."""
    spare = 1 - min(1.0, 1 / (CHANGE**2 * max(1.0, won_before)))
    return won - spare * won_before, plays - spare * plays_before


def shares(won: Sequence[float], plays: Sequence[float], prior: tuple[Array, Array]) -> Shares:
    """Prizes per play: each cabinet's own, leaning on what others of its kind give (shapes and rates, (M,))."""
    prizes, tries = np.asarray(won, float), np.asarray(plays, float)
    told = (tries > 0) & (prizes > 0)
    shape, rate = prior
    certain = shape + np.where(told, prizes, 0)
    return Shares(certain / (rate + np.where(told, tries, 0)), 1 / certain)


def left(prizes: Rates, held: Array, days: Array | float, parts: Sequence[float]) -> Array:
    """Pieces left (parts, M) of `held` (M,) after so many days, with a chance of no more than each part."""
    counts = prizes.counts(days)
    return np.array([np.maximum(0, held - counts.quantile(1 - part)) for part in parts])


def days_until_empty(prizes: Rates, held: Array, parts: Sequence[float]) -> Array:
    """Days (parts, M) until a cabinet is empty with a chance of each part; LONGEST where it takes longer."""
    found = []
    for part in parts:
        low, high = np.zeros(len(held)), np.full(len(held), LONGEST)
        for _ in range(14):
            middle = (low + high) / 2
            empty = prizes.counts(middle).at_least(held) >= part
            low, high = np.where(empty, low, middle), np.where(empty, middle, high)
        found.append(np.where(held <= 0, 0.0, np.where(high >= LONGEST, LONGEST, high)))
    return np.array(found)


def plays_lost(prizes: Rates, part: Array, held: Array, days: Array) -> Array:
    """Plays (M, D) that an empty cabinet could not sell until each of D moments, `days` (M, D) from the last look."""
    beyond = [prizes.counts(column).beyond(np.maximum(0, held)) for column in np.asarray(days).T]
    return np.array(beyond).T.reshape(np.shape(days)) / np.maximum(part, 1e-6)[:, None]


def days_stopped(days: Array, chance: Array) -> Array:
    """Of the first `days` (M, D) the part in which a cabinet that works at their start is expected to stand still, if
    it stops with a `chance` (M,) a day and nobody tells until a visit."""
    chance = np.maximum(np.asarray(chance, float), 1e-9)[:, None]
    return days + np.expm1(-chance * days) / chance


def fault_prior(faults: Sequence[int], days: Sequence[float]) -> tuple[float, float]:
    """Shape and rate of the gamma from which faults a day come, by cabinets' days in service."""
    count, exposure = np.asarray(faults, float), np.maximum(np.asarray(days, float), 1.0)
    if count.sum() < FEWEST:
        return float(count.sum()), max(1.0, float(exposure.sum()))
    return gamma_poisson(count, exposure)


def fault_rate(faults: Sequence[int], days: Sequence[float], prior: tuple[float, float]) -> Array:
    """Faults a day of each cabinet, leaning on all the others (gamma-Poisson, closed form)."""
    shape, rate = prior
    return (shape + np.asarray(faults, float)) / (rate + np.maximum(np.asarray(days, float), 1.0))
