"""What past days would have paid a host under other terms, beside what they pay under the present ones."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from locations.agreements.rules_periods import Period, Rhythm, Stretch, periods
from locations.agreements.rules_terms import Deal, TermLine, deal_on
from locations.sites.models import Location
from locations.taxes.queries import rules_for
from routeapp.earnings.queries import book
from routeapp.earnings.queries_shares import Shares, standing_in
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_shares import Day, share_lines
from routeapp.kit import clock


@dataclass(frozen=True)
class Tried:
    """One period: what was taken, and what the terms give of it. `other` is None while none were typed."""

    stretch: Stretch
    take: int
    present: int
    other: int | None

    @property
    def days(self) -> str:
        return f"{self.stretch.since:%-d %b} – {self.stretch.until:%-d %b %Y}"

    @property
    def difference(self) -> int | None:
        return None if self.other is None else self.other - self.present


@dataclass(frozen=True)
class Trial:
    rows: list[Tried]
    present: Deal | None  # of the location, at the end of the days

    @property
    def take(self) -> int:
        return sum(row.take for row in self.rows)

    @property
    def paid(self) -> int:
        return sum(row.present for row in self.rows)

    @property
    def other(self) -> int:
        return sum(row.other or 0 for row in self.rows)

    @property
    def difference(self) -> int:
        return self.other - self.paid


def trial_of(location: Location, span: Span, other: Deal | None) -> Trial:
    """The days of a span in the periods of the present terms, under those and under `other` for all cabinets. Days
    before anything was agreed or stood there are left out: other terms would not have paid for them either."""
    facts = Shares(book(span))
    days = [day for day in facts.days if day.location == location.pk]
    deals, taxes, standing = facts.deals.get(location.pk, []), rules_for([location.pk]), standing_in(facts.book)

    def paid(terms: Sequence[Deal], stretch: Stretch, inside: Sequence[Day]) -> int:
        return sum(line.share for line in share_lines(inside, {location.pk: terms}, taxes, stretch, standing))

    present, rows = deal_on(deals, span.until), []
    stays = [one for each in facts.book.stays.values() for one in each if one.location == location.pk]
    begun = [clock.local_day(one.started_at, location.time_zone) for one in stays]
    begun += [deal.starts_on for deal in deals] + [day.day for day in days]
    for stretch in _periods(present, replace(span, since=max(span.since, min(begun, default=span.since))), days):
        inside = [day for day in days if stretch.since <= day.day <= stretch.until]
        take = sum(day.earned.take for day in inside)
        rows.append(
            Tried(stretch, take, paid(deals, stretch, inside), paid([other], stretch, inside) if other else None)
        )
    return Trial(rows, present)


def _periods(present: Deal | None, span: Span, days: Sequence[Day]) -> list[Stretch]:
    """By the month without terms. What comes after the last visit, or lies outside of the span, is cut off."""
    rhythm = present.settled if present else Rhythm(Period.MONTH)
    found = periods(rhythm, span.since, span.until, [day.day for day in days if day.visits])
    return [part for one in found if (part := one.within(span.since, span.until))]


def meant(location: Location, span: Span, terms: Sequence[TermLine], chosen: Mapping[str, str]) -> Deal:
    """Terms that nobody agreed on, for all days of a span."""
    return Deal(0, location.pk, None, span.since, None, Rhythm(Period.MONTH), "", tuple(terms), **chosen)
