"""What hosts get of the earnings of some days, by the terms of each day. Amounts in whole minor units."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from locations.agreements.rules_periods import Stretch
from locations.agreements.rules_terms import Deal, Earned, OwedLine, deal_on, owed, sum_of, total
from locations.taxes.rules import TaxBook, tax_lines
from routeapp.kit.money import split


@dataclass(frozen=True)
class Day:
    """What a cabinet brought at a location on a day, and the visits that served it. What names no cabinet there has
    `machine` None, and so have all visits to the location."""

    location: int
    machine: int | None
    day: date
    earned: Earned = Earned()
    visits: frozenset[UUID] = frozenset()


@dataclass(frozen=True)
class ShareLine:
    """What one deal gives the host for the days in which it holds, handed out to the cabinets that earned it."""

    deal: Deal
    stretch: Stretch
    earned: Earned
    lines: list[OwedLine]
    by_machine: Mapping[int, int]

    @property
    def share(self) -> int:
        return sum_of(self.lines)


Deals = Mapping[int, Sequence[Deal]]
Standing = Mapping[int, Iterable[int]]  # cabinets by location


def earned_in(days: Iterable[Day], machine: int | None, taxes: TaxBook) -> Earned:
    """Days added up for terms about a location, or one `machine`, with the tax inside their take: one rounding for
    each rule."""
    days = list(days)
    tax = tax_lines((taxes.rule(one.location, one.machine, one.day), one.earned.take) for one in days)
    visits = len(frozenset().union(*(one.visits for one in days if one.machine == machine)))
    return total(one.earned for one in days)._replace(tax=sum(line.tax for line in tax), visits=visits)


def share_lines(
    days: Iterable[Day], deals: Deals, taxes: TaxBook, span: Stretch, standing: Standing
) -> list[ShareLine]:
    """One line for each deal that holds in the span where cabinets stood or earned. Days without a deal have none."""
    by_deal: dict[int, list[Day]] = defaultdict(list)
    for one in days:
        if deal := deal_on(deals.get(one.location, ()), one.day, one.machine):
            by_deal[deal.agreement].append(one)
    found = (
        _share_line(deal, stretch, by_deal.get(deal.agreement, []), _under(deal, stretch, deals, standing), taxes)
        for location in sorted(deals)
        for deal in deals[location]
        if (stretch := span.within(deal.starts_on, deal.ends_on))
    )
    return [line for line in found if line.by_machine and (line.share or line.earned.take)]


def _under(deal: Deal, stretch: Stretch, deals: Deals, standing: Standing) -> list[int]:
    """The cabinets that fall under a deal on the first day of a stretch, also when they earned nothing. Where all have
    terms of their own, all of them bear what the location gets besides."""
    there, first, here = deals[deal.location], stretch.since, list(standing.get(deal.location, ()))
    under = [machine for machine in here if deal_on(there, first, machine) == deal]
    return under if under or deal.machine else here


def _share_line(deal: Deal, stretch: Stretch, days: Iterable[Day], here: Iterable[int], taxes: TaxBook) -> ShareLine:
    """Handed out by take, or evenly where there was none."""
    takes: dict[int, int] = defaultdict(int)
    for one in days:
        if one.machine is not None:
            takes[one.machine] += one.earned.take
    weights = {machine: max(0, take) for machine, take in takes.items()} or dict.fromkeys(here, 0)
    earned = earned_in(days, deal.machine, taxes)
    lines = owed(deal, earned, stretch)
    parts = split(sum_of(lines), list(weights.values())) if weights else []
    return ShareLine(deal, stretch, earned, lines, dict(zip(weights, parts, strict=True)))


def shares_by(shares: Iterable[ShareLine], key: str) -> dict[int, int]:
    """The shares by "machine" or "location"; both add up to the same."""
    found: dict[int, int] = defaultdict(int)
    for line in shares:
        for machine, part in line.by_machine.items():
            found[machine if key == "machine" else line.deal.location] += part
    return found


def without_deal(days: Iterable[Day], deals: Deals) -> dict[int, int]:
    """Take by location from days on which nothing was agreed; those with some only."""
    found: dict[int, int] = defaultdict(int)
    for one in days:
        if one.earned.take and deal_on(deals.get(one.location, ()), one.day, one.machine) is None:
            found[one.location] += one.earned.take
    return found
