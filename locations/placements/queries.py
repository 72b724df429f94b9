"""Reads about placements: what stands where, and where a cabinet stood."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from locations.placements.models import Placement, WithdrawnPlacement
from locations.placements.rules import HINDRANCES, hindrance, way_out
from locations.sites.models import Location
from machines.bench.queries import lacks_proof, unproven
from machines.cabinets.models import Machine


def standing(at: Any = None) -> QuerySet:
    """Placements at a moment (or an OuterRef to one); now when left out.

    The moment a cabinet leaves is no longer part of its stay.
    """
    if at is None:
        return Placement.objects.filter(ended_at=None)
    return Placement.objects.filter(Q(ended_at=None) | Q(ended_at__gt=at), started_at__lte=at)


def with_location(rows: QuerySet, machine: str = "pk", at: str = "") -> QuerySet:
    """Each row with `stands_at`: the name of the location where the cabinet in its column `machine` stands now, or
    stood at the moment in its column `at`."""
    there = standing(OuterRef(at)) if at else standing()
    name = there.filter(machine=OuterRef(machine)).values("location__name")[:1]
    return rows.annotate(stands_at=Coalesce(Subquery(name), Value("")))


def every_placement() -> QuerySet:
    """Which cabinet stood where, the latest first."""
    return Placement.objects.select_related("machine", "location", "started_by").order_by("-started_at", "-pk")


def placed_at(location: Location, at: datetime | None = None) -> QuerySet:
    """The placements at a location at a moment, by cabinet code."""
    return standing(at).filter(location=location).select_related("machine__model").order_by("machine__code")


def placement_of(machine: Machine, at: datetime) -> Placement | None:
    """Where a cabinet stood at a moment."""
    return standing(at).filter(machine=machine).select_related("location").first()


def withdrawn_of(machine: Machine) -> QuerySet:
    """Placements of a cabinet that were told wrongly, the latest first."""
    return WithdrawnPlacement.objects.filter(machine=machine).select_related("location", "withdrawn_by")


def placements_of(machine_ids: Iterable[int]) -> dict[int, list[Placement]]:
    """All placements of these cabinets by machine id, oldest first, in one query."""
    found: dict[int, list[Placement]] = defaultdict(list)
    rows = Placement.objects.filter(machine__in=list(machine_ids)).select_related("location")
    for placement in rows.order_by("started_at"):
        found[placement.machine_id].append(placement)
    return found


@dataclass(frozen=True)
class Stay:
    """One placement of a cabinet."""

    location: int
    started_at: datetime
    ended_at: datetime | None

    def covers_end_of(self, moment: datetime) -> bool:
        """Whether what ended at `moment` happened here: the reading at the end of a stay belongs to it."""
        return self.started_at < moment and (self.ended_at is None or moment <= self.ended_at)


def stays_between(since: datetime, until: datetime, locations: Iterable[int] | None = None) -> dict[int, list[Stay]]:
    """The stays that touch the time between two moments by machine id, oldest first, all or those at `locations`."""
    found: dict[int, list[Stay]] = defaultdict(list)
    rows = Placement.objects.filter(Q(ended_at=None) | Q(ended_at__gte=since), started_at__lt=until)
    rows = rows if locations is None else rows.filter(location__in=list(locations))
    for machine, *stay in rows.values_list("machine", "location", "started_at", "ended_at").order_by("started_at"):
        found[machine].append(Stay(*stay))
    return found


def free_cabinets() -> QuerySet:
    """Cabinets that stand nowhere and that nothing keeps from being placed."""
    placed = Placement.objects.filter(ended_at=None).values("machine")
    kept = Machine.objects.exclude(status__in=HINDRANCES).exclude(pk__in=unproven().values("pk"))
    return kept.exclude(pk__in=placed).select_related("model")


def hindrance_now(machine: Machine) -> str:
    """Why a cabinet cannot be placed now, as a sentence; empty when nothing is in the way."""
    stay = standing().filter(machine=machine).select_related("location").first()
    if stay is not None:
        return f"{machine} stands at {stay.location}. End that placement first."
    if text := hindrance(machine.status):
        return f"{machine} {text}. {way_out(machine.status)}"
    return lacks_proof(machine)
