"""Which days are settled next, and what the host gets for them from what each day brought. Whole minor units."""

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from locations.agreements.rules_periods import DAY, Period, Stretch, period_end
from locations.agreements.rules_terms import Deal, Earned, OwedLine, deal_on, owed, parts, sum_of, total


class Brought(NamedTuple):
    """Of what one day brought: at a location, or by one cabinet where some there have terms of their own."""

    day: date
    machine: int | None
    earned: Earned


Tax = Callable[[Sequence[Brought]], int]  # what lies inside the take of some days


class Part(NamedTuple):
    """What one agreement gives for the days on which it held."""

    stretch: Stretch
    deal: Deal
    earned: Earned
    lines: Sequence[OwedLine]

    @property
    def cents(self) -> int:
        return sum_of(self.lines)


@dataclass(frozen=True)
class WithoutTerms:
    """Money that came in on days on which nothing was agreed."""

    stretch: Stretch
    cents: int

    @property
    def on_days(self) -> str:
        """“on 3 March 2026”, “from 3 to 9 March 2026”."""
        return f"{'on' if self.stretch.days == 1 else 'from'} {spoken(self.stretch)}"


def work_out(deals: Sequence[Deal], stretch: Stretch, brought: Collection[Brought], tax: Tax) -> list[Part]:
    """Each agreement that held in a stretch with what it gives, in order of time, those of single cabinets after."""
    own = sorted({deal.machine for deal in deals if deal.machine is not None})
    found = []
    for machine in (None, *own):
        for part, deal in parts(deals, stretch, machine):
            if deal is not None and deal.machine == machine:
                days = [one for one in brought if _belongs(one, deal, part, deals if own else ())]
                earned = _sum(days, deal, tax)
                found.append(Part(part, deal, earned, owed(deal, earned, part)))
    return found


def _belongs(one: Brought, deal: Deal, part: Stretch, deals: Sequence[Deal]) -> bool:
    if not part.since <= one.day <= part.until:
        return False
    holds = deal_on(deals, one.day, one.machine) if deals else deal
    return holds is not None and holds.agreement == deal.agreement


def _sum(days: Sequence[Brought], deal: Deal, tax: Tax) -> Earned:
    """All of it, with the tax inside. A visit counts for the location; for a cabinet when it was served."""
    visits = sum(one.earned.visits for one in days if one.machine == deal.machine)
    return total(one.earned for one in days)._replace(tax=tax(days), visits=visits)


def without_terms(deals: Sequence[Deal], stretch: Stretch, brought: Iterable[Brought]) -> list[WithoutTerms]:
    """Take of a stretch that no agreement speaks of, day after day taken together."""
    sums: dict[date, int] = {}
    for one in brought:
        inside = stretch.since <= one.day <= stretch.until
        if inside and one.earned.take and deal_on(deals, one.day, one.machine) is None:
            sums[one.day] = sums.get(one.day, 0) + one.earned.take
    found: list[WithoutTerms] = []
    for day in sorted(sums):
        before = found[-1] if found else None
        if before and not any(deal.holds_on(day) for deal in deals if deal.starts_on > before.stretch.until):
            found[-1] = WithoutTerms(Stretch(before.stretch.since, day), before.cents + sums[day])
        else:
            found.append(WithoutTerms(Stretch(day, day), sums[day]))
    return found


def uncovered(since: date, until: date, covered: Iterable[Stretch]) -> list[Stretch]:
    """The days from `since` to `until` that lie in none of the stretches, oldest first."""
    found, day = [], since
    for one in sorted(covered):
        if day < one.since and day <= until:
            found.append(Stretch(day, min(until, one.since - DAY)))
        day = max(day, one.until + DAY)
    return [*found, Stretch(day, until)] if day <= until else found


def periods_in(deals: Sequence[Deal], gap: Stretch, visits: Collection[date]) -> list[Stretch]:
    """The periods to settle in a stretch that is not settled yet, oldest first; the last may not be over.

    A period ends as it was agreed, and before days without terms or with terms that are settled otherwise.
    """
    changes = sorted({one.starts_on for one in deals} | {one.ends_on + DAY for one in deals if one.ends_on})
    found, day = [], gap.since
    while day <= gap.until:
        deal = _holding(deals, day)
        if deal is None:
            later = [one.starts_on for one in deals if one.starts_on > day]
            if not later:
                break
            day = min(later)
            continue
        end = min(_end(deals, deal, day, visits, changes), gap.until)
        found.append(Stretch(day, end))
        day = end + DAY
    return found


def _holding(deals: Sequence[Deal], day: date) -> Deal | None:
    """What says how often one settles: the agreement of the location, else one of a cabinet."""
    return deal_on(deals, day) or next((deal for deal in deals if deal.holds_on(day)), None)


def _end(deals: Sequence[Deal], deal: Deal, day: date, visits: Collection[date], changes: Iterable[date]) -> date:
    """The last day of the period that begins on `day`; `changes` are the days on which other terms begin."""
    if deal.settled.kind == Period.VISIT:
        end = min((one for one in visits if one >= day), default=date.max)
    else:
        end = period_end(deal.settled, day)
    for change in (one for one in changes if day < one <= end):
        then = _holding(deals, change)
        if then is None or then.settled != deal.settled:
            return change - DAY
    return end


def is_over(deals: Sequence[Deal], stretch: Stretch, visits: Collection[date], today: date) -> bool:
    """Whether a period can be settled: its last day is over, or it ends with a visit that was made."""
    deal = _holding(deals, stretch.until)
    by_visit = deal is not None and deal.settled.kind == Period.VISIT and stretch.until in visits
    return stretch.until < today or (by_visit and stretch.until == today)


def spoken(stretch: Stretch) -> str:
    """“October 2026”, “3 to 9 November 2026”, “28 December 2026 to 3 January 2027”."""
    since, until = stretch.since, stretch.until
    if since.day == 1 and (until + DAY).day == 1 and (since.year, since.month) == (until.year, until.month):
        return f"{since:%B %Y}"
    if since == until:
        return f"{since:%-d %B %Y}"
    same_year, same_month = since.year == until.year, (since.year, since.month) == (until.year, until.month)
    first = f"{since:%-d}" if same_month else f"{since:%-d %B}" if same_year else f"{since:%-d %B %Y}"
    return f"{first} to {until:%-d %B %Y}"


def spoken_days(since: date, until: date) -> str:
    return spoken(Stretch(since, until))
