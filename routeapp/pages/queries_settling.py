"""What is to be settled with hosts, as Today tells it: what was worked out of a location stays until the log tells of
something there."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.contrib.auth import get_user_model
from django.core.cache import caches
from django.db.models import Q

from locations.agreements.models import Agreement
from locations.agreements.rules_terms import Bearer
from locations.hosts.models import Host
from locations.sites.models import Location
from machines.faults.models import Fault
from routeapp.cash.models import Bag
from routeapp.cash.models_bank import Deposit
from routeapp.expenses.models import Trip
from routeapp.kit import audit, clock, memory
from routeapp.planning import models_due, models_rounds
from routeapp.settlements.models import Settlement
from routeapp.settlements.queries import owing
from routeapp.settlements.queries_drafts import due
from routeapp.visits.models import ServiceEntry, Visit

KEY = "pages-settling"
KEPT = timedelta(seconds=memory.KEPT_SECONDS)


@dataclass(frozen=True)
class Settling:
    """A location on a day there: what its drafts come to, and what its host is owed by what was issued."""

    at: datetime
    day: date
    drafts: tuple[int, ...]
    owed: int


@dataclass(frozen=True)
class _Kept:
    """All that happened up to the latest lines of the log is in it."""

    lines: frozenset[int]
    found: Mapping[int, Settling]  # by location


def settling(now: datetime) -> Mapping[int, Settling]:
    """Of all locations by their ids, in constant queries. Only those where something happened since are worked out
    anew, and those of more than five minutes ago or another day."""
    lines = audit.latest()  # first: what is read later may only be newer
    days = {pk: clock.local_day(now, zone) for pk, zone in Location.objects.order_by().values_list("pk", "time_zone")}
    found = _still_true(caches["forecasts"].get(KEY), lines, days, now)
    if new := days.keys() - found.keys():
        found = found | _worked_out({pk: days[pk] for pk in new}, now)
        caches["forecasts"].set(KEY, _Kept(lines, found), memory.KEPT_SECONDS)
    return found


def _worked_out(days: Mapping[int, date], now: datetime) -> dict[int, Settling]:
    drafts: dict[int, list[int]] = defaultdict(list)
    for one in due(now, days):
        drafts[one.location.pk].append(one.cents)
    owed = {location.pk: cents for location, cents in owing(days)}
    return {pk: Settling(now, day, tuple(drafts[pk]), owed.get(pk, 0)) for pk, day in days.items()}


def _still_true(
    kept: _Kept | None, lines: frozenset[int], days: Mapping[int, date], now: datetime
) -> dict[int, Settling]:
    """What was kept, without the locations that it is no longer true of."""
    if kept is None:
        return {}
    gone = set() if kept.lines == lines else audit.concerned(kept.lines, CONCERNS, NOTHING_TO_SETTLE)
    if gone is None:
        return {}
    held = {pk: one for pk, one in kept.found.items() if pk not in gone and one.day == days.get(pk)}
    return {pk: one for pk, one in held.items() if timedelta() <= now - one.at < KEPT}


def _of_visits(pks: Collection[str]) -> set[int]:
    """Also where a visit was that was corrected, and others whose money lies in the same bags. What prizes cost is the
    same everywhere, so that each visit may change it where hosts bear some of it."""
    replaced = Visit.objects.filter(pk__in=pks, replaces__isnull=False).values_list("replaces", flat=True)
    visits = Visit.objects.filter(Q(pk__in=pks) | Q(pk__in=list(replaced)))
    bags = ServiceEntry.objects.filter(visit__in=list(visits.values_list("pk", flat=True)), bag__isnull=False)
    prized = Agreement.objects.live().exclude(prize_cost_by=Bearer.OPERATOR)
    there = visits.values_list("location", flat=True), prized.values_list("location", flat=True)
    return set().union(*there, _of_bags(bags.order_by().values_list("bag", flat=True)))


def _of_bags(pks: Iterable[object]) -> Collection[int]:
    return ServiceEntry.objects.filter(bag__in=list(pks)).order_by().values_list("visit__location", flat=True)


# The locations of which a line of the log tells, by its subject.
CONCERNS: audit.Concerns = {
    Visit: _of_visits,
    Bag: _of_bags,
    Location: lambda pks: {int(pk) for pk in pks},
    Settlement: lambda pks: Settlement.objects.filter(pk__in=pks).values_list("location", flat=True),
}
# What can happen to these without changing what hosts get. Whatever is in neither list concerns all locations.
NOTHING_TO_SETTLE = {
    *(models_due.ToDo, models_due.Promise, models_due.PrizeOrder, models_due.SupplierTerms),
    *(models_rounds.Round, models_rounds.Proposal, models_rounds.Pin, models_rounds.Driver, models_rounds.Vehicle),
    *(models_rounds.CalendarLink, Deposit, Trip, Host, Fault, get_user_model()),
}
