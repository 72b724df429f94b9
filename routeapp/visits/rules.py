"""Is the money right? What the meters say should be in the box against what was counted, stop by stop."""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Stop:
    """One service entry on paper; amounts in minor units.

    `read` says whether a money-telling meter was read; `expected` is what it says came in since the last reading,
    None when that cannot be told. `emptied` says whether the box was emptied; `taken` is None while uncounted.
    """

    key: Hashable
    read: bool
    expected: int | None
    emptied: bool
    taken: int | None


@dataclass(frozen=True)
class Reckoning:
    """Over (positive) or short (negative) by stop; and what is expected and taken since the last balance."""

    variances: dict[Hashable, int | None]
    expected: int | None = 0
    taken: int | None = 0

    def with_stop(self, expected: int | None, taken: int) -> int | None:
        """The variance if the box were emptied now, with `expected` since the last reading and `taken` counted."""
        owed, had = _plus(self.expected, expected), _plus(self.taken, taken)
        return None if owed is None or had is None else had - owed


def reckon(stops: Iterable[Stop]) -> Reckoning:
    """Compare the money at each stop where the box was emptied and the meter read.

    `stops` of one cabinet in order of time. Money left in the box, or taken without a reading, carries on to the
    next stop where both are known. None where a reading is in question or a bag not counted yet.
    """
    variances: dict[Hashable, int | None] = {}
    expected: int | None = 0
    taken: int | None = 0
    for stop in stops:
        if stop.read:
            expected = _plus(expected, stop.expected)
        if not stop.emptied:
            continue
        taken = _plus(taken, stop.taken)
        if stop.read:
            variances[stop.key] = None if expected is None or taken is None else taken - expected
            expected = taken = 0
    return Reckoning(variances, expected, taken)


def _plus(sum_so_far: int | None, more: int | None) -> int | None:
    return None if sum_so_far is None or more is None else sum_so_far + more


def payout(plays: int, prizes: int) -> float | None:
    """Plays per prize won; None while no prize was won."""
    return plays / prizes if prizes > 0 else None
