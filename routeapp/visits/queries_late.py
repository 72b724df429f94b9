"""Visits that came in late, at doubtful times, or for cabinets that stood elsewhere: what changed and what to ask."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.utils.timesince import timesince

from locations.placements.queries import standing
from locations.sites.models import Location
from routeapp.kit.prepared import Prepared
from routeapp.visits import rules
from routeapp.visits.models import ServiceEntry, Visit
from routeapp.visits.queries import EntryFigures, figures


@dataclass(frozen=True)
class Doubt:
    """Why the times of a visit are in doubt. `ahead` is how far the phone's clock was ahead, below zero behind."""

    visit: Visit
    ahead: timedelta

    @property
    def words(self) -> str:
        if not self.ahead:
            return "These times were still to come when the visit was received."
        minutes = timedelta(minutes=round(abs(self.ahead) / timedelta(minutes=1)))
        off = timesince(self.visit.received_at, self.visit.received_at + minutes).replace("\xa0", " ")
        way = "ahead" if self.ahead > timedelta() else "behind"
        return f"The phone's clock was {off} {way} when it sent this visit."

    @property
    def arrived_at(self) -> datetime:
        """When the arrival was if the clock was off by as much at the stop."""
        return self.visit.at - self.ahead


def doubts() -> list[Doubt]:
    """Visits whose times somebody should decide about, oldest first."""
    open_ones = Visit.objects.live().filter(doubtful=True, times_kept=None)
    rows = open_ones.select_related("location", "by").defer("document").order_by("received_at")
    return [Doubt(visit, rules.clock_ahead(visit.device_at, visit.received_at)) for visit in rows]


def doubt_about(visit: Visit) -> Doubt | None:
    if not visit.doubtful or visit.withdrawn_at or hasattr(visit, "times_kept"):
        return None
    return Doubt(visit, rules.clock_ahead(visit.device_at, visit.received_at))


def changed_by(visit: Visit, machine_ids: Iterable[int]) -> dict[int, EntryFigures]:
    """By cabinet, the next service entry that was here already when an earlier visit came in late, as it stands now."""
    if visit.withdrawn_at or visit.replaces:
        return {}
    entries = ServiceEntry.objects.filter(machine__in=list(machine_ids), at__gt=visit.at, withdrawn_at=None)
    after = entries.filter(visit__received_at__lt=visit.received_at).order_by("-at", "-uuid")
    following = {machine: (key, at) for machine, key, at in after.values_list("machine", "pk", "at")}
    if not following:
        return {}
    keys, moments = zip(*following.values(), strict=True)
    shown = figures(following, min(moments), max(moments) + timedelta(microseconds=1))
    return {one.entry.machine_id: one for one in shown if one.entry.pk in keys}


def came_late(history: Iterable[EntryFigures]) -> set[UUID]:
    """Those entries of one cabinet's history, newest first, that came in after a later visit's."""
    late: set[UUID] = set()
    earliest: datetime | None = None
    for entry in (one.entry for one in history):
        received = entry.visit.received_at
        if earliest and received > earliest and not entry.visit.replaces:
            late.add(entry.pk)
        earliest = min(received, earliest or received)
    return late


_stays = Prepared(
    lambda ids, at: standing(at).filter(machine__in=ids).order_by().values_list("machine_id", "location_id"),
    list,
    datetime,
)


def strays(machine_ids: Iterable[int], location: int, at: datetime) -> dict[int, str]:
    """Cabinets that did not stand at a location at that moment, with where the books say they stood."""
    wanted = list(machine_ids)
    stood = dict(_stays(wanted, at))
    away = {machine: stood.get(machine) for machine in wanted if stood.get(machine) != location}
    known = {place for place in away.values() if place}
    names = {place.pk: f"stood at {place}" for place in Location.objects.filter(pk__in=known)} if known else {}
    return {machine: names[place] if place else "stood nowhere" for machine, place in away.items()}
