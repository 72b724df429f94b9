"""Adding up what service entries brought, and what of it the hosts get. Amounts in whole minor units."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from routeapp.kit.money import half_up, split


@dataclass(frozen=True)
class Line:
    """What one service entry brought, or what was read and counted outside visits (`visit` is None).

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


@dataclass(frozen=True)
class Figures:
    """Lines added up."""

    visits: int = 0
    days: int = 0  # on how many days there was a visit
    take: int = 0
    uncounted: int = 0
    plays: int = 0
    left_out: int = 0
    prizes: int = 0
    prize_cost: int = 0
    over_short: int = 0
    known: int = 0
    not_known: int = 0

    @property
    def payout(self) -> float | None:
        """Plays per prize won; None while no prize was won."""
        return self.plays / self.prizes if self.prizes > 0 and self.plays > 0 else None

    @property
    def payout_words(self) -> str:
        if self.payout is None:
            return "–"
        return "every play" if self.payout < 1.5 else f"1 in {self.payout:,.0f}"

    @property
    def cost_share(self) -> float | None:
        """Cost of the prizes won as a part of the take; None without a take."""
        return self.prize_cost / self.take if self.take > 0 else None

    @property
    def cost_percent(self) -> float | None:
        return None if self.cost_share is None else self.cost_share * 100


def add_up(lines: Iterable[Line]) -> Figures:
    lines = list(lines)
    reckoned = [line for line in lines if line.reckoned]
    known = [line.variance for line in reckoned if line.variance is not None]
    return Figures(
        visits=sum(line.visit is not None for line in lines),
        days=len({line.day for line in lines if line.visit is not None}),
        take=sum(line.take for line in lines),
        uncounted=sum(line.uncounted for line in lines),
        plays=sum(line.plays for line in lines),
        left_out=sum(line.left_out for line in lines),
        prizes=sum(line.prizes for line in lines),
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


@dataclass(frozen=True)
class ShareLine:
    """What one agreement gives the host of the take while it was in force; rounded half up, once."""

    location: int
    since: date
    rate_bp: int
    base: int
    share: int
    by_machine: Mapping[int, int]


Terms = Mapping[int, Sequence[tuple[date, int]]]  # by location: (from this day on, hundredths of a percent)


def share_lines(lines: Iterable[Line], terms: Terms) -> list[ShareLine]:
    """The host's share, one line for each agreement that was in force on a day with take.

    Take from days without an agreement has no line. Each share is handed out to the cabinets that earned it.
    """
    bases: dict[tuple[int, date, int], dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for line in lines:
        agreed = in_force(terms.get(line.location, ()), line.day)
        if agreed and line.take:
            bases[line.location, *agreed][line.machine] += line.take
    return [_share_line(*key, takes) for key, takes in sorted(bases.items())]


def in_force(terms: Sequence[tuple[date, int]], day: date) -> tuple[date, int] | None:
    """The terms that hold on a day: those that started last. `terms` are oldest first."""
    return next((one for one in reversed(terms) if one[0] <= day), None)


def _share_line(location: int, since: date, rate_bp: int, takes: Mapping[int, int]) -> ShareLine:
    base = sum(takes.values())
    share = half_up(Decimal(base) * rate_bp / 10_000)
    parts = split(share, [max(0, take) for take in takes.values()])
    return ShareLine(location, since, rate_bp, base, share, dict(zip(takes, parts, strict=True)))


def shares_by(shares: Iterable[ShareLine], key: str) -> dict[int, int]:
    """The shares by "machine" or "location"; both add up to the same."""
    found: dict[int, int] = defaultdict(int)
    for line in shares:
        for machine, part in line.by_machine.items():
            found[machine if key == "machine" else line.location] += part
    return found


def without_agreement(lines: Iterable[Line], terms: Terms) -> dict[int, int]:
    """Take by location from days on which no agreement was in force; those with some only."""
    found: dict[int, int] = defaultdict(int)
    for line in lines:
        if line.take and in_force(terms.get(line.location, ()), line.day) is None:
            found[line.location] += line.take
    return found
