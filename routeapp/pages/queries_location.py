"""One location: what it earns, for whom, on which terms, and what stands there."""

from dataclasses import dataclass
from datetime import datetime

from locations.agreements import queries as agreements
from locations.placements.models import Placement
from locations.placements.queries import placed_at
from locations.sites import queries as sites
from locations.sites.models import Location
from machines.faults.queries import open_faults
from routeapp.cash.queries import take_by_entry
from routeapp.kit import clock
from routeapp.pages.queries_cabinet import Takes, takes
from routeapp.planning.queries_forecast import Forecast
from routeapp.planning.queries_outlook import outlook
from routeapp.settlements.queries import owed_cents
from routeapp.visits.models import CashTaken, Visit
from routeapp.visits.queries import visits

VISITS = 12


@dataclass(frozen=True)
class Standing:
    """One cabinet at this location."""

    placement: Placement
    forecast: Forecast | None
    is_low: bool
    faults: int


@dataclass(frozen=True)
class Stop:
    """One visit with what it brought; `uncounted` while some of that lies in a sealed bag."""

    visit: Visit
    take: int
    uncounted: bool


@dataclass(frozen=True)
class LocationPage:
    location: Location
    takes: Takes
    cabinets: list[Standing]
    terms: list[str]  # one sentence for the location, one for each cabinet with terms of its own
    days: list[sites.Day]
    open_now: bool | None
    visits: list[Stop]
    owed: int  # to the host, by what was issued
    pays_in_cash: bool  # at the visit, as agreed

    @property
    def filter(self) -> str:
        """What limits service entries to this location, in an address."""
        return f"location={self.location.pk}"


def location_page(location: Location, now: datetime) -> LocationPage:
    placements = list(placed_at(location))
    deals = agreements.in_force(location, clock.local_day(now, location.time_zone))
    return LocationPage(
        location=location,
        takes=takes(now, location.time_zone, location=location.pk),
        cabinets=_cabinets(placements, now),
        terms=agreements.words_of(deals),
        days=sites.hours_by_day(location),
        open_now=sites.open_now(location, now),
        visits=_visits(location),
        owed=owed_cents([location.pk])[location.pk],
        pays_in_cash=any(deal.paid == "cash" for deal in deals),
    )


def _visits(location: Location) -> list[Stop]:
    live = visits().filter(location=location, withdrawn_at=None, void=False).defer("document")
    newest = list(live.order_by("-at")[:VISITS])
    takes = take_by_entry(entry.pk for visit in newest for entry in visit.entries.all())
    return [
        Stop(
            visit=visit,
            take=sum(takes.get(entry.pk, 0) for entry in visit.entries.all()),
            uncounted=any(entry.cash == CashTaken.SEALED and entry.pk not in takes for entry in visit.entries.all()),
        )
        for visit in newest
    ]


def _cabinets(placements: list[Placement], now: datetime) -> list[Standing]:
    ids = [one.machine_id for one in placements]
    seen = outlook(now, ids).forecasts
    broken: dict[int, int] = {}
    for fault in open_faults().filter(machine__in=ids):
        broken[fault.machine_id] = broken.get(fault.machine_id, 0) + 1
    return [
        Standing(one, found, found is not None and found.is_low(now), broken.get(one.machine_id, 0))
        for one in placements
        for found in [seen.get(one.machine_id)]
    ]
