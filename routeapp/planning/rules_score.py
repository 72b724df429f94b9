"""How good past forecasts were, and ranges that say what they cover.

A count that was foretold with distribution F lies in the stretch from F(n - 1) to F(n) of all chances; one that was
cut short by an empty cabinet, anywhere from F(n - 1) to 1. Spread evenly over these stretches, the counts of good
forecasts lie evenly from 0 to 1 (the PIT for counts of Czado, Gneiting and Held, Biometrics 65, 2009, 1254-1261).
"""

from dataclasses import dataclass

import numpy as np

from routeapp.planning.rules_rate import Array, Filtered, Intervals

HALVES = np.linspace(0, 0.5, 101)
LEANS = 40.0  # intervals' worth of trust in the model's own ranges; no source
LOW, HIGH = 0.1, 0.9  # an 80 % range
AIM = 0.82  # of past outcomes should lie inside: those to come are a little stranger; found by bench forecast


@dataclass(frozen=True)
class Found:
    """What became of some forecasts: each outcome's stretch of chances, what was expected and what came."""

    low: Array
    high: Array
    expected: Array
    came: Array
    cut: Array  # found empty: more would have been played

    def __len__(self) -> int:
        return len(self.low)

    def below(self, chance: Array | float) -> Array:
        """The share of outcomes under a chance, outcomes spread over their stretches."""
        width = np.maximum(self.high - self.low, 1e-9)
        return np.mean(np.clip((np.asarray(chance)[..., None] - self.low) / width, 0, 1), axis=-1)

    @property
    def bias(self) -> float:
        """Too much expected, as a part of what came; of the intervals that were not cut short."""
        came = float(self.came[~self.cut].sum())
        return float(self.expected[~self.cut].sum()) / came - 1 if came else 0.0


def outcomes(intervals: Intervals, told: Filtered, skip: int = 0) -> Found:
    """What became of the forecast of each interval that tells, without the first few of each cabinet."""
    seen = np.cumsum(intervals.told, axis=1) > skip
    parts = []
    for step, predictive in enumerate(told.foretold):
        rows = intervals.told[:, step] & seen[:, step]
        count, cut = intervals.plays[:, step], intervals.empty[:, step]
        high = np.where(cut, 1.0, predictive.cdf(count))
        parts.append(np.array([predictive.cdf(count - 1), high, predictive.mean, count, cut])[:, rows])
    low, high, expected, came, cut = np.concatenate(parts, axis=1) if parts else np.zeros((5, 0))
    return Found(low, high, expected, came, cut.astype(bool))


def levels(found: Found) -> tuple[float, float]:
    """Which two chances of the model to take for an 80 % range, judged by what became of past forecasts: wider where
    they covered less, never narrower, as one lucky year is no promise. Both sides move alike: that one lay out more
    often is mostly a season that all cabinets share, and it does not last."""
    if not len(found):
        return LOW, HIGH
    inside = found.below(0.5 + HALVES) - found.below(0.5 - HALVES)
    inside = (len(found) * inside + LEANS * 2 * HALVES) / (len(found) + LEANS)
    half = max(float(np.interp(AIM, inside, HALVES)), HIGH - 0.5)
    return 0.5 - half, 0.5 + half
