"""Is the money right, stop by stop, and are the times: what can be worked out about a visit on paper."""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

CLOCK_MAY_DIFFER = timedelta(minutes=5)  # as long as photos may take over a weak signal; common practice, no source


LONGEST_STAY = timedelta(hours=4)  # what took longer was written down later; chosen here, no source


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


def left(arrived: datetime, told: datetime | None) -> datetime:
    """When they left again: as told, or the arrival where that is not known, as of a visit written down days later."""
    return told if told and arrived < told <= arrived + LONGEST_STAY else arrived


def clock_ahead(device_at: datetime | None, received_at: datetime) -> timedelta:
    """How far a phone's clock was ahead when it sent something, below zero: behind.

    Zero for what sending takes anyway, and where the phone did not say what its clock showed.
    """
    ahead = device_at - received_at if device_at else timedelta()
    return ahead if abs(ahead) > CLOCK_MAY_DIFFER else timedelta()


def is_doubtful(departed_at: datetime, device_at: datetime | None, received_at: datetime) -> bool:
    """Whether somebody should look at the times of a visit: the clock was off, or they were still to come."""
    return bool(clock_ahead(device_at, received_at)) or departed_at > received_at + CLOCK_MAY_DIFFER


def payout(plays: int, prizes: int) -> float | None:
    """Plays per prize won; None while no prize was won."""
    return plays / prizes if prizes > 0 else None
