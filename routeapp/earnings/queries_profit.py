"""Every amount of the statement, from the facts behind it, in constant queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from django.db.models import Q

from locations.agreements.queries import deals_for
from locations.placements.models import Placement
from locations.sites.models import Location
from locations.taxes.queries import rules_for
from machines.cabinets.models import Machine
from machines.depreciation.queries import costs, spreads_of
from machines.depreciation.rules import Spread
from routeapp.earnings import queries_amounts as sources
from routeapp.earnings.queries_trips import trips
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_keep import Lack
from routeapp.earnings.rules_profit import Amount, Stood, months_of, placed
from routeapp.earnings.rules_shares import Day
from routeapp.kit import clock


@dataclass(frozen=True)
class Profit:
    """The amounts of a span of days, and the cabinets and locations they speak of.

    `only` names the locations whose amounts are wanted, of all cabinets there, as terms are about whole locations.
    `zone` is that of the business, for what happened at no location.
    """

    span: Span
    zone: str
    only: Collection[int] | None = None

    @cached_property
    def machines(self) -> dict[int, Machine]:
        return Machine.objects.select_related("model").in_bulk()

    @cached_property
    def locations(self) -> dict[int, Location]:
        found = Location.objects.select_related("host")
        return (found if self.only is None else found.filter(pk__in=self.only)).in_bulk()

    @cached_property
    def stays(self) -> dict[int, list[Stood]]:
        """Where each cabinet stood in these days, in the calendar of the location, oldest first."""
        found: dict[int, list[Stood]] = defaultdict(list)
        since, until = self.moments
        rows = Placement.objects.filter(Q(ended_at=None) | Q(ended_at__gte=since), started_at__lt=until)
        wanted = ("machine", "location", "location__time_zone", "started_at", "ended_at")
        for machine, location, zone, start, end in rows.order_by("started_at").values_list(*wanted):
            last = clock.local_day(end, zone) if end else None
            found[machine].append(Stood(location, clock.local_day(start, zone), last))
        return found

    @property
    def moments(self) -> tuple[datetime, datetime]:
        """Moments between which all of it happened, whatever the time zone of a location."""
        return clock.anywhere(self.span.since, self.span.until)

    @cached_property
    def amounts(self) -> list[Amount]:
        entries = sources.entries(self.only, *self.moments)
        moves = list(sources.moves(self.span, self.only))
        prizes = list(sources.prizes(self._cabinets, entries, *self.moments, self.zone))
        lost = sources.lost(entries, *self.moments, self.zone)
        parts = sources.parts(*self.moments, self.zone)
        sold = sources.sold(self.span, self.zone, self.machines)
        on_road = list(trips(sources.by_visit(entries), *self.moments))
        # What lies outside is left out before the cabinets there are looked for, and again once each has its location.
        wanted = filter(self._is_inside, [*moves, *prizes, *lost, *parts, *sold, *on_road])
        inside = [one for one in placed(wanted, self.stays) if self._is_inside(one)]
        days = sources.days_of(inside, entries, self.span, self.locations)
        return [*inside, *self._terms(days), *self._depreciation()]

    def _terms(self, days: list[Day]) -> Iterator[Amount]:
        """Tax and hosts' share, worked out month by month."""
        deals, taxes = deals_for(self.locations), rules_for(self.locations)
        for month in months_of(self.span):
            inside = [one for one in days if month.since <= one.day <= month.until]
            yield from sources.taxes(inside, taxes, month)
            yield from sources.shares(inside, deals, taxes, month, self._standing(month))

    def _standing(self, month: Span) -> dict[int, set[int]]:
        """Cabinets by the location where they stood in a month."""
        found: dict[int, set[int]] = defaultdict(set)
        for machine, stays in self.stays.items():
            for stay in stays:
                if stay.days_in(month):
                    found[stay.location].add(machine)
        return found

    @cached_property
    def _spreads(self) -> dict[int, Spread]:
        return spreads_of(self.zone)

    @cached_property
    def _costs(self) -> dict[int, int]:
        return costs()

    def lacks(self, machine: int) -> Lack | None:
        """What is missing for the cabinet's own cost to be among the amounts."""
        if machine in self._spreads:
            return None
        return Lack.YEARS if machine in self._costs else Lack.COST

    def _depreciation(self) -> Iterable[Amount]:
        found = sources.depreciation(self._spreads, months_of(self.span), self.stays, self.machines)
        return (one for one in found if self._is_inside(one))

    def _is_inside(self, one: Amount) -> bool:
        """Within the days; with `only`, also what a cabinet cost while it stood nowhere."""
        wanted = self.only is None or one.location in self.only or (one.location is None and one.machine is not None)
        return wanted and self.span.since <= one.day <= self.span.until

    @property
    def _cabinets(self) -> list[int]:
        """The cabinets whose prizes are counted: all, or those that stood at the locations wanted."""
        if self.only is None:
            return list(self.machines)
        return [machine for machine, stays in self.stays.items() if any(stay.location in self.only for stay in stays)]
