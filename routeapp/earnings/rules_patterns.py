"""Short money: chance or pattern? A p-chart by month, and an exact test of each person and cabinet against the rest.

Both speak of counts, never of causes: a coin that stuck, a meter that skips and a mixed-up bag look the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb, sqrt
from typing import Any

FEW = 8  # counts, below which nothing is said: common practice, no source
SIGNIFICANT = 0.05  # shared out among all that are compared, so that one in a crowd does not stand out by chance


@dataclass(frozen=True)
class Sample:
    """Of `counted` counts, `short` came out short."""

    name: Any  # whose counts: a person's or cabinet's name, or the first day of a month
    counted: int
    short: int

    @property
    def part(self) -> float:
        return self.short / self.counted if self.counted else 0.0


@dataclass(frozen=True)
class Control:
    """A sample between the limits within which chance alone mostly keeps it."""

    sample: Sample
    lower: float
    upper: float

    @property
    def is_out(self) -> bool:
        return not self.lower <= self.sample.part <= self.upper

    @property
    def is_high(self) -> bool:
        return self.sample.part > self.upper


def centre(samples: Sequence[Sample]) -> float:
    """The share of all counts that came out short."""
    counted = sum(one.counted for one in samples)
    return sum(one.short for one in samples) / counted if counted else 0.0


def p_chart(samples: Sequence[Sample]) -> list[Control]:
    """Three standard deviations about the centre, by the size of each sample (NIST/SEMATECH e-Handbook 6.3.3.2)."""
    middle = centre(samples)
    found = []
    for one in samples:
        reach = 3 * sqrt(middle * (1 - middle) / one.counted) if one.counted else 1.0
        found.append(Control(one, max(0.0, middle - reach), min(1.0, middle + reach)))
    return found


def chance(short: int, counted: int, all_short: int, all_counted: int) -> float:
    """How often chance alone gives one of them `short` or more, if the `all_short` of all counts fell on anybody:
    Fisher's exact test, one-sided."""
    ways = comb(all_counted, counted)
    most = min(counted, all_short)
    above = sum(comb(all_short, hit) * comb(all_counted - all_short, counted - hit) for hit in range(short, most + 1))
    return above / ways


@dataclass(frozen=True)
class Verdict:
    """One person or cabinet beside all others; `chance` is None where there is nobody to compare with."""

    sample: Sample
    chance: float | None
    compared: int

    @property
    def state(self) -> str:
        if self.sample.counted < FEW or self.chance is None:
            return "none"
        return "warn" if self.chance < SIGNIFICANT / self.compared else "good"

    @property
    def words(self) -> str:
        if self.chance is None:
            return "Nobody to compare with."
        if self.sample.counted < FEW:
            return "Few counts: this says nothing yet."
        if self.state == "good":
            return "Within what chance does."
        often = f"about once in {round(1 / self.chance):,}" if self.chance > 1e-6 else "less than once in a million"
        return f"More often short than the others: by chance alone {often}. Look for the cause."


def verdicts(samples: Sequence[Sample]) -> list[Verdict]:
    """Each against all of them, those that stand out first."""
    counted, short = sum(one.counted for one in samples), sum(one.short for one in samples)
    known = [one for one in samples if one.counted]
    compared = sum(one.counted >= FEW for one in known) or 1
    alone = len(known) < 2
    found = [Verdict(one, None if alone else chance(one.short, one.counted, short, counted), compared) for one in known]
    return sorted(found, key=lambda one: (one.state != "warn", 1 if one.chance is None else one.chance))
