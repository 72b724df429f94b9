"""Adding up what service entries brought. Amounts in whole minor units."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID


@dataclass(frozen=True)
class Line:
    """What one service entry brought, or what was read and counted outside visits (`visit` is None), or what was paid
    by card on a day (`by_card`, all of its take).

    `uncounted` says that its money lies in a bag nobody counted; `read`, that a meter tells its plays; `left_out`,
    that they are in question; `reckoned`, that a variance is known or will be (None until then).
    """

    machine: int
    location: int
    day: date
    at: datetime
    visit: UUID | None = None
    person: int | None = None
    take: int = 0
    by_card: int = 0
    uncounted: bool = False
    plays: int = 0
    read: bool = False
    left_out: bool = False
    questions: tuple[str, ...] = ()  # about its readings, as sentences
    expected: int | None = None
    variance: int | None = None
    reckoned: bool = False
    prizes: int = 0
    prize_cost: int = 0

    @property
    def tells_plays(self) -> bool:
        return self.read and not self.left_out


@dataclass(frozen=True)
class Figures:
    """Lines added up."""

    visits: int = 0
    days: int = 0  # on how many days there was a visit
    take: int = 0
    by_card: int = 0
    uncounted: int = 0
    plays: int | None = None  # None where no meter tells any
    left_out: int = 0
    prizes: int = 0
    prizes_of_plays: int = 0  # of the prizes, those of cabinets whose plays a meter tells
    prize_cost: int = 0
    over_short: int = 0
    known: int = 0
    not_known: int = 0

    @property
    def payout(self) -> float | None:
        """Plays per prize won, of cabinets whose plays a meter tells; None while no prize was won."""
        return self.plays / self.prizes_of_plays if self.prizes_of_plays > 0 and self.plays else None

    @property
    def payout_words(self) -> str:
        if self.payout is None:
            return "–"
        return "every play" if self.payout < 1.5 else f"1 in {self.payout:,.0f}"

    @property
    def cost_share(self) -> float | None:
        """Cost of the prizes won as a part of the take; None without a take, or where none was counted as won."""
        return self.prize_cost / self.take if self.take > 0 and self.prizes else None

    @property
    def cost_percent(self) -> float | None:
        return None if self.cost_share is None else self.cost_share * 100


def add_up(lines: Iterable[Line]) -> Figures:
    lines = list(lines)
    reckoned = [line for line in lines if line.reckoned]
    known = [line.variance for line in reckoned if line.variance is not None]
    metered = {line.machine for line in lines if line.read}
    return Figures(
        visits=sum(line.visit is not None for line in lines),
        days=len({line.day for line in lines if line.visit is not None}),
        take=sum(line.take for line in lines),
        by_card=sum(line.by_card for line in lines),
        uncounted=sum(line.uncounted for line in lines),
        plays=sum(line.plays for line in lines) if metered else None,
        left_out=sum(line.left_out for line in lines),
        prizes=sum(line.prizes for line in lines),
        prizes_of_plays=sum(line.prizes for line in lines if line.machine in metered),
        prize_cost=sum(line.prize_cost for line in lines),
        over_short=sum(known),
        known=len(known),
        not_known=len(reckoned) - len(known),
    )


def grouped(lines: Iterable[Line], key: str) -> dict[int, list[Line]]:
    """The lines by "machine", "location" or "person"."""
    groups: dict[int, list[Line]] = defaultdict(list)
    for line in lines:
        groups[getattr(line, key)].append(line)
    return groups
