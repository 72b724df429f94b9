"""What hosts get of the earnings of some days: take and what it cost, day by day, under the terms of each day."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from uuid import UUID

from locations.agreements.queries import deals_for
from locations.agreements.rules_periods import Stretch
from locations.agreements.rules_terms import Earned, total
from locations.sites.models import Location
from locations.taxes.queries import rules_for
from routeapp.earnings.queries import Book
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_profit import Stood
from routeapp.earnings.rules_shares import Day, Deals, ShareLine, Standing, share_lines, without_deal
from routeapp.kit import clock
from routeapp.settlements.queries_brought import FIGURES, counted_moves, visits_of

Key = tuple[int, int | None, date]


@dataclass(frozen=True)
class Shares:
    """What the terms make of a book, each part worked out when it is asked for."""

    book: Book

    @cached_property
    def days(self) -> list[Day]:
        return days_of(self.book)

    @cached_property
    def deals(self) -> Deals:
        return deals_for(self.book.locations)

    @cached_property
    def lines(self) -> list[ShareLine]:
        span = Stretch(self.book.span.since, self.book.span.until)
        return share_lines(self.days, self.deals, rules_for(self.book.locations), span, standing_in(self.book))

    def without_deal(self) -> dict[int, int]:
        return without_deal(self.days, self.deals)


def days_of(book: Book) -> list[Day]:
    """What each cabinet brought on each day: money from its moves, prizes won and visits from the lines; and all visits
    to each location."""
    earned = moneys(book.span)
    visits = visits_in(book.span, book.locations)
    for line in book.lines:
        key: Key = (line.location, line.machine, line.day)
        earned[key] = total([earned.get(key, Earned()), Earned(prize_cost=line.prize_cost)])
        if line.visit:
            visits[key].add(line.visit)
    return as_days(earned, visits)


def visits_in(span: Span, locations: Mapping[int, Location]) -> dict[Key, set[UUID]]:
    """The visits to locations by location, no cabinet, and day: also those that served none."""
    found: dict[Key, set[UUID]] = defaultdict(set)
    days = Stretch(span.since, span.until)
    for pk, location, at in visits_of(locations, days).values_list("pk", "location", "at"):
        day = clock.local_day(at, locations[location].time_zone)
        if days.within(day, day):
            found[location, None, day].add(pk)
    return found


def as_days(earned: Mapping[Key, Earned], visits: Mapping[Key, set[UUID]]) -> list[Day]:
    return [
        Day(*key, earned.get(key, Earned()), frozenset(visits.get(key, ())))
        for key in dict.fromkeys((*earned, *visits))
    ]


def moneys(span: Span) -> dict[Key, Earned]:
    """Take in cash and by card, card fees and refunds by location, cabinet and day, in one query."""
    moves = counted_moves().filter(day__range=(span.since, span.until), location__isnull=False)
    rows = moves.values("location", "machine", "day").annotate(**FIGURES)
    return {(sums.pop("location"), sums.pop("machine"), sums.pop("day")): Earned(**sums) for sums in rows}


def standing_in(book: Book) -> Standing:
    """Cabinets by the location where they stood in the days of a book, by its own calendar."""
    found: dict[int, set[int]] = defaultdict(set)
    for machine, stays in book.stays.items():
        for stay in stays:
            zone = book.locations[stay.location].time_zone
            last = clock.local_day(stay.ended_at, zone) if stay.ended_at else None
            if Stood(stay.location, clock.local_day(stay.started_at, zone), last).days_in(book.span):
                found[stay.location].add(machine)
    return found


@dataclass(frozen=True)
class ShareShown:
    """One line of the host's share, and the `part` of it that a drill-down speaks of."""

    location: Location
    line: ShareLine
    part: int


def shares_of(book: Book, only: Mapping[str, int]) -> list[ShareShown]:
    """What hosts get of the lines that `only` limits to: "machine" or "location", as split on the page above."""
    machine, location = only.get("machine"), only.get("location")
    return [
        ShareShown(book.locations[one.deal.location], one, one.share if machine is None else one.by_machine[machine])
        for one in Shares(book).lines
        if location in (None, one.deal.location) and (machine is None or machine in one.by_machine)
    ]
