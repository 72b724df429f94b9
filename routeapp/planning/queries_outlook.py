"""The outlook as pages ask for it: what was worked out of a cabinet stays until the log tells of something it reads."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth import get_user_model
from django.core.cache import caches
from django.db.models import Q

from locations.hosts.models import Host
from locations.placements.models import Placement
from locations.placements.queries import standing
from locations.sites.models import Location
from machines.cabinets.models import Machine, Meter
from machines.faults.models import Fault
from machines.faults.queries import newest_fault
from routeapp.cash.models import Bag
from routeapp.cash.models_bank import Deposit
from routeapp.expenses.models import Expense, Trip
from routeapp.kit import audit, memory
from routeapp.planning import models_due, models_rounds
from routeapp.planning.queries_forecast import Outlook, outlook_of, together
from routeapp.planning.queries_learned import learned, lesson
from routeapp.settlements.models import Settlement
from routeapp.stock.models import Place
from routeapp.visits.models import ServiceEntry, Visit

KEY = "planning-outlook"
KEPT = timedelta(seconds=memory.KEPT_SECONDS)

Keys = Collection[str]


@dataclass(frozen=True)
class _Kept:
    """All that happened up to the latest lines of the log and a report is in it."""

    lines: frozenset[int]
    report: int
    lesson: str
    seen: Outlook


def outlook(now: datetime, machines: Collection[int] | None = None) -> Outlook:
    """Of all placed cabinets, or of those among `machines`, in constant queries. Only cabinets to which something
    happened since are worked out anew, and those of more than five minutes ago."""
    lines, report, name = audit.latest(), newest_fault(), lesson(now)  # first: what is read later may only be newer
    stands = standing().select_related("machine__model", "location").order_by("machine__code")
    placements = list(stands if machines is None else stands.filter(machine__in=machines))
    seen = _still_true(caches["forecasts"].get(KEY), lines, report, name, now)
    new = [one for one in placements if seen is None or not _stands_in(seen, one)]
    if new or seen is None:
        fresh = outlook_of(new, learned(name, now), now)
        seen = together(seen.without(fresh.row), fresh) if seen else fresh
        caches["forecasts"].set(KEY, _Kept(lines, report, name, seen), memory.KEPT_SECONDS)
    for one in placements:
        seen.histories[seen.row[one.machine_id]].placement = one  # as it stands now: names, states
    return seen.of([seen.row[one.machine_id] for one in placements])


def _stands_in(seen: Outlook, one: Placement) -> bool:
    row = seen.row.get(one.machine_id)
    return row is not None and seen.histories[row].placement.pk == one.pk


def _still_true(kept: _Kept | None, lines: frozenset[int], report: int, name: str, now: datetime) -> Outlook | None:
    """What was kept, without the cabinets that it is no longer true of."""
    if kept is None or kept.lesson != name:
        return None
    gone = set() if (lines, report) == (kept.lines, kept.report) else _concerned(kept)
    if gone is None:
        return None
    seen = kept.seen
    old = {pk for pk, row in seen.row.items() if not timedelta() <= now - seen.at[row] < KEPT}
    return seen.without(gone | old) if gone or old else seen


def _concerned(kept: _Kept) -> set[int] | None:
    """The cabinets to which something happened since; None: it may be all of them."""
    found = audit.concerned(kept.lines, CONCERNS, NO_FORECAST)
    new = Fault.objects.filter(pk__gt=kept.report).values_list("machine", flat=True)
    return None if found is None else found.union(new)


def _of_visits(pks: Keys) -> Collection[int]:
    """Also those of a visit that was corrected, and of others whose money lies in the same bags."""
    replaced = Visit.objects.filter(pk__in=pks, replaces__isnull=False).values_list("replaces", flat=True)
    entries = ServiceEntry.objects.filter(Q(visit__in=pks) | Q(visit__in=list(replaced)))
    rows = list(entries.order_by().values_list("machine", "bag"))
    return {machine for machine, _ in rows} | set(_of_bags([bag for _, bag in rows if bag]))


def _of_bags(pks: Collection[Any]) -> Collection[int]:
    return ServiceEntry.objects.filter(bag__in=pks).order_by().values_list("machine", flat=True)


# The cabinets of which a line of the log tells, by its subject.
CONCERNS: audit.Concerns = {
    Visit: _of_visits,
    Bag: _of_bags,
    Fault: lambda pks: Fault.objects.filter(pk__in=pks).values_list("machine", flat=True),
    Machine: lambda pks: {int(pk) for pk in pks},
    Meter: lambda pks: Meter.objects.filter(pk__in=pks).values_list("machine", flat=True),
    Placement: lambda pks: Placement.objects.filter(pk__in=pks).values_list("machine", flat=True),
    Location: lambda pks: Placement.objects.filter(location__in=pks, ended_at=None).values_list("machine", flat=True),
    Place: lambda pks: Place.objects.filter(pk__in=pks, machine__isnull=False).values_list("machine", flat=True),
}
# What can happen to these without a forecast reading it. Whatever is in neither list concerns all cabinets.
NO_FORECAST = {
    *(models_due.ToDo, models_due.Promise, models_due.PrizeOrder, models_due.SupplierTerms),
    *(models_rounds.Round, models_rounds.Proposal, models_rounds.Pin, models_rounds.Driver, models_rounds.Vehicle),
    *(models_rounds.CalendarLink, Deposit, Expense, Trip, Settlement, Host, get_user_model()),
}
