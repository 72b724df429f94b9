"""How the cash of a cabinet mostly stands, and what its settings did, on paper."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scipy.stats import fisher_exact

from routeapp.earnings.rules_patterns import SIGNIFICANT

A_DAY = timedelta(days=1)


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


@dataclass(frozen=True)
class Seen:
    """A visit as payouts see it: `plays` since the reading before, None where not read; prizes `won`, if `counted`."""

    at: datetime
    plays: int | None
    won: int
    counted: bool
    doubtful: bool = False  # the meter is in question


@dataclass
class Era:
    """What was played and won from a change of the settings (None: before the first) to the next one."""

    since: datetime | None
    plays: int = 0
    won: int = 0
    time: timedelta = timedelta()

    @property
    def payout(self) -> float | None:
        return self.plays / self.won if self.won > 0 else None

    @property
    def plays_a_day(self) -> float:
        return self.plays / (self.time / A_DAY)

    def differs_from(self, other: "Era") -> bool:
        """Whether chance alone hardly makes payouts as different as these: Fisher's exact test, both sides."""
        table = [[one.won, one.plays - one.won] for one in (self, other)]
        return min(map(min, table)) < 0 or float(fisher_exact(table).pvalue) < SIGNIFICANT


def eras(visits: Sequence[Seen], changes: Iterable[datetime]) -> list[Era]:
    """By the settings that held, the newest first. `visits` are the oldest first; the first one only begins the time.

    A change at a visit holds from then on. Stretches from one visit with count and reading to the next are taken whole,
    and left out where the settings changed within or a meter is in question.
    """
    moments, found = sorted(changes), dict[datetime | None, Era]()
    start, plays, won, doubtful = visits[0].at if visits else None, 0, 0, False
    for one in visits[1:]:
        plays, won, doubtful = plays + (one.plays or 0), won + one.won, doubtful or one.doubtful
        if start is None or one.plays is None or not one.counted:
            continue
        if not doubtful and one.at > start and not any(start < moment < one.at for moment in moments):
            since = max((moment for moment in moments if moment < one.at), default=None)
            era = found.setdefault(since, Era(since))
            era.plays, era.won, era.time = era.plays + plays, era.won + won, era.time + (one.at - start)
        start, plays, won, doubtful = one.at, 0, 0, False
    return list(found.values())[::-1]
