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


def variances(stops: Iterable[Stop]) -> dict[Hashable, int | None]:
    """Over (positive) or short (negative) at each stop where the box was emptied and the meter read.

    `stops` of one cabinet in order of time. Money left in the box, or taken without a reading, carries on to the
    next stop where both are known. None where a reading is in question or a bag not counted yet.
    """
    found: dict[Hashable, int | None] = {}
    expected: int | None = 0
    taken: int | None = 0
    for stop in stops:
        if stop.read:
            expected = _plus(expected, stop.expected)
        if not stop.emptied:
            continue
        taken = _plus(taken, stop.taken)
        if stop.read:
            found[stop.key] = None if expected is None or taken is None else taken - expected
            expected = taken = 0
    return found


def _plus(sum_so_far: int | None, more: int | None) -> int | None:
    return None if sum_so_far is None or more is None else sum_so_far + more


def payout(plays: int, prizes: int) -> float | None:
    """Plays per prize won; None while no prize was won."""
    return plays / prizes if prizes > 0 else None
