"""When a cabinet has paid for itself, and what return it brings, from what it earned month by month."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import sqrt
from statistics import fmean, stdev

from scipy.optimize import brentq
from scipy.special import stdtrit

ENOUGH_MONTHS = 3  # fewer say nothing about the next ones
LAST_MONTHS = 12  # what a cabinet earned longer ago says little about the next month
SURE = 0.8
WEEKS_A_MONTH = 365.2425 / 12 / 7
LONGEST_WEEKS = 52 * 20  # later is as good as never


@dataclass(frozen=True)
class Ahead:
    """Weeks until a cabinet is paid back: the most likely number and from where to where with four chances in five;
    None where it may never be."""

    weeks: float | None
    least: float | None
    most: float | None


def weeks_left(missing: int, months: Sequence[int]) -> Ahead | None:
    """How long `missing` takes at the pace of the last whole `months` (oldest first); None while there are too few.

    Months are taken as independent draws of one normal distribution whose mean and spread are not known, so the sum of
    the next n of them lies around n times the mean with a Student error of s·sqrt(n + n²/m), m being how many months
    were seen. The ends of the interval are the n at which that sum reaches what is missing with one chance in ten and
    with nine: the roots of (missing − mean·n)² = q²s²(n + n²/m).
    """
    seen = months[-LAST_MONTHS:]
    if len(seen) < ENOUGH_MONTHS:
        return None
    mean, spread, many = fmean(seen), stdev(seen), len(seen)
    q2s2 = (float(stdtrit(many - 1, (1 + SURE) / 2)) * spread) ** 2
    square, middle = mean * mean - q2s2 / many, 2 * missing * mean + q2s2
    under_root = middle * middle - 4 * square * missing * missing
    if under_root < 0:
        return Ahead(None, None, None)
    upper = middle + sqrt(under_root)
    least = 2 * missing * missing / upper if upper > 0 else None
    most = upper / (2 * square) if square > 0 and mean > 0 else None
    return Ahead(*(_weeks(n) for n in (missing / mean if mean > 0 else None, least, most)))


def _weeks(months: float | None) -> float | None:
    weeks = None if months is None else months * WEEKS_A_MONTH
    return None if weeks is None or weeks > LONGEST_WEEKS else weeks


def paid_back_after(cost: int, months: Sequence[int]) -> int | None:
    """After how many months what was earned came to the cost for good; None while it has not."""
    sums = list(accumulate(months))
    if not sums or sums[-1] < cost:
        return None
    return len(sums) - next((n for n, so_far in enumerate(reversed(sums)) if so_far < cost), len(sums)) + 1


@dataclass(frozen=True)
class Rate:
    """A rate of return per period. Without a rate, `many` says that several may fit, else that none does."""

    rate: float | None
    many: bool = False


def rate_of_return(flows: Sequence[float]) -> Rate:
    """The rate at which flows of equal distance are worth nothing together today, the first of them now.

    It is given only where it is the only one: flows change their sign once (Descartes), or their running sum does,
    ends above zero and the rate is sought above zero (Norstrøm). A purchase, gains, and a loss at the end may have
    several, none of which means anything.
    """
    if _changes(flows) == 0:
        return Rate(None)
    running = list(accumulate(flows))
    once = _changes(flows) == 1
    if not once and not (_changes(running) == 1 and running[-1] > 0 > flows[0]):
        return Rate(None, many=True)
    return Rate(_root(flows, -0.999999 if once else 0.0))


def _changes(flows: Sequence[float]) -> int:
    """How often the sign changes, zeros left out."""
    signs = [flow > 0 for flow in flows if flow]
    return sum(before != after for before, after in pairwise(signs))


def _root(flows: Sequence[float], least: float) -> float | None:
    def worth(rate: float) -> float:
        factor, total = 1 / (1 + rate), 0.0
        for flow in reversed(flows):
            total = total * factor + flow
        return total

    most = 1.0
    while worth(least) * worth(most) > 0:
        most *= 4
        if most > 1e9:
            return None
    return brentq(worth, least, most, xtol=1e-12)


def yearly(monthly: float) -> float:
    return (1 + monthly) ** 12 - 1
