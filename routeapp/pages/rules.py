"""How full a cabinet is by now, on paper: what it held at the last visit less what is usually won a day."""

from dataclasses import dataclass
from datetime import datetime, timedelta

SECONDS_A_DAY = 86_400
LOW_PART = 0.15  # of what fits in; common practice, no source
LOW_DAYS = 2  # nor may it run empty before somebody can be there


@dataclass(frozen=True)
class Fill:
    """`left` pieces at `since` (the last visit), `a_day` won as usual, `capacity` None where nobody said."""

    left: int
    since: datetime | None
    a_day: float = 0.0
    capacity: int | None = None

    def at(self, moment: datetime) -> int:
        """Pieces that are probably left at a later moment."""
        days = (moment - self.since).total_seconds() / SECONDS_A_DAY if self.since else 0.0
        return max(0, round(self.left - self.a_day * max(0.0, days)))

    def empty_at(self) -> datetime | None:
        """When it probably runs or ran empty; None while prizes do not go down or for years to come."""
        if self.since is None or self.a_day <= 0 or self.left > self.a_day * 365:
            return None
        return self.since + timedelta(days=max(0, self.left) / self.a_day)

    def is_low(self, moment: datetime) -> bool:
        """Whether it is nearly empty, or will be before somebody can be there."""
        if self.at(moment) <= (self.capacity or 0) * LOW_PART:
            return True
        empty = self.empty_at()
        return empty is not None and empty <= moment + timedelta(days=LOW_DAYS)


def a_day(pieces: int, since: datetime, until: datetime | None) -> float:
    """Prizes won a day, from how many were won between two moments; 0 when that is too short to tell."""
    days = (until - since).total_seconds() / SECONDS_A_DAY if until else 0.0
    return max(0, pieces) / days if days >= 1 else 0.0


@dataclass(frozen=True)
class CashPattern:
    """How the cash of some collections stood against the meter. Amounts in minor units, less is negative."""

    of: int
    short: int
    over: int
    cents: int
    expected: int

    @property
    def share(self) -> float:
        """What is missing or too much together, in per cent of what the meters say."""
        return 100 * abs(self.cents) / self.expected if self.expected else 0.0


def cash_pattern(collections: list[tuple[int, int]]) -> CashPattern:
    """The pattern of (variance, expected) of collections whose variance is known."""
    return CashPattern(
        of=len(collections),
        short=sum(variance < 0 for variance, _ in collections),
        over=sum(variance > 0 for variance, _ in collections),
        cents=sum(variance for variance, _ in collections),
        expected=sum(expected for _, expected in collections),
    )
