"""A cabinet comes to a location, and leaves it."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max, Q
from django.utils import dateformat

from locations.placements.models import Placement, WithdrawnPlacement
from locations.placements.rules import hindrance, way_out
from locations.sites.models import Location
from machines.bench.queries import lacks_proof
from machines.cabinets.actions import change_status, withdraw_status
from machines.cabinets.models import Machine, Status, StatusChange
from routeapp.kit import audit
from routeapp.kit.errors import Refused

CLOCK_MAY_RUN_AHEAD = timedelta(minutes=5)
FIRST_YEAR = 2000


@transaction.atomic
def start_placement(
    *, uuid: UUID, machine: Machine, location: Location, spot: str = "", by: Any, at: datetime, received_at: datetime
) -> Placement:
    """Note that a cabinet stands at a location from `at` on, and that it is placed. The same uuid again is one.

    Refused when it stands elsewhere then or later, when its status forbids it, and when the location is closed.
    """
    machine = Machine.objects.select_for_update().get(pk=machine.pk)
    location = Location.objects.select_for_update().get(pk=location.pk)
    if made := Placement.objects.filter(uuid=uuid).first():
        return _same(made, machine, location)
    if gone := WithdrawnPlacement.objects.filter(uuid=uuid).first():
        raise Refused(f"This form was sent before, for {gone}, and withdrawn since. Open a new one.")
    _check_moment(at, received_at)
    _check_free(machine, location, at)
    placement = Placement.objects.create(
        uuid=uuid,
        machine=machine,
        location=location,
        spot=spot,
        started_at=at,
        started_by=by,
        received_at=received_at,
    )
    facts = {"by": by, "at": _after_other_steps(machine, at), "received_at": received_at, "source": uuid}
    change_status(machine=machine, status=Status.PLACED, note=f"at {location}", **facts)
    audit.record("assigned", placement, by=by, at=received_at)
    return placement


def _same(made: Placement, machine: Machine, location: Location) -> Placement:
    if (made.machine_id, made.location_id) != (machine.pk, location.pk):
        raise Refused(f"This form was sent before, for {made}. Open a new one.")
    return made


def _check_moment(at: datetime, received_at: datetime) -> None:
    if at > received_at + CLOCK_MAY_RUN_AHEAD:
        raise Refused("That moment is still to come. Write it down when it has happened.", "at")
    if at.year < FIRST_YEAR:
        raise Refused("That moment is too long ago to be meant.", "at")


def _check_free(machine: Machine, location: Location, at: datetime) -> None:
    if location.closed_on:
        raise Refused(f"{location} is closed. Open it again first.", "location")
    later = Placement.objects.filter(Q(ended_at=None) | Q(ended_at__gt=at), machine=machine)
    if other := later.select_related("location").order_by("started_at").last():
        raise Refused(_stands_elsewhere(machine, other), "at")
    if text := hindrance(machine.status):
        raise Refused(f"{machine} {text}. {way_out(machine.status)}", "machine")
    if text := lacks_proof(machine):
        raise Refused(text, "machine")


def _stands_elsewhere(machine: Machine, other: Placement) -> str:
    if other.ended_at is None:
        return f"{machine} stands at {other.location} since {_said(other.started_at, other)}. End that first."
    return (
        f"{machine} stood at {other.location} until {_said(other.ended_at, other)}; it cannot stand here before that."
    )


def _after_other_steps(machine: Machine, at: datetime) -> datetime:
    """`at`, or just after the newest status when that is later.

    A cabinet entered today may have stood at its place for weeks; from now on it must still count as placed.
    """
    newest = StatusChange.objects.live().filter(machine=machine).aggregate(newest=Max("at"))["newest"]
    return newest + timedelta(microseconds=1) if newest and newest >= at else at


def _said(moment: datetime, placement: Placement) -> str:
    return dateformat.format(moment.astimezone(ZoneInfo(placement.location.time_zone)), "j M Y, H:i")


@transaction.atomic
def end_placement(
    *,
    placement: Placement,
    because: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
    next_status: str = Status.SPARE,
) -> Placement:
    """Note that a cabinet left its location at `at`, and what it is from then on. The same end again is one.

    Refused before the placement started, and when it ended at another moment already.
    """
    machine = Machine.objects.select_for_update().get(pk=placement.machine_id)
    placement = Placement.objects.select_for_update(of=("self",)).select_related("location").get(pk=placement.pk)
    if placement.ended_at == at:
        return placement
    if placement.ended_at is not None:
        raise Refused(f"{machine} left {placement.location} already, on {_said(placement.ended_at, placement)}.")
    _check_moment(at, received_at)
    if at <= placement.started_at:
        raise Refused(f"It came here only on {_said(placement.started_at, placement)}.", "at")
    placement.ended_at, placement.ended_by, placement.ended_because = at, by, because
    placement.save(update_fields=["ended_at", "ended_by", "ended_because"])
    facts = {"by": by, "at": _after_other_steps(machine, at), "received_at": received_at, "source": placement.uuid}
    change_status(machine=machine, status=next_status, note=because or f"left {placement.location}", **facts)
    audit.record("ended", placement, by=by, at=received_at)
    return placement


@transaction.atomic
def withdraw_placement(*, placement: Placement, reason: str, by: Any, at: datetime) -> WithdrawnPlacement:
    """Note that a placement never was, and take back what it made of the cabinet's status. What it said stays readable.

    Twice is once. Whether anything else depends on it is for the caller to look at.
    """
    Machine.objects.select_for_update().get(pk=placement.machine_id)
    if gone := WithdrawnPlacement.objects.filter(uuid=placement.uuid).first():
        return gone
    placement = Placement.objects.select_for_update(of=("self",)).get(pk=placement.pk)
    said = {field.attname: getattr(placement, field.attname) for field in Placement._meta.fields if field.name != "id"}
    gone = WithdrawnPlacement.objects.create(**said, reason=reason, withdrawn_by=by, withdrawn_at=at)
    Placement.objects.filter(pk=placement.pk).delete()
    for change in StatusChange.objects.live().filter(source=placement.uuid):
        withdraw_status(change=change, by=by, at=at)
    audit.record("withdrew", gone, by=by, at=at)
    return gone
