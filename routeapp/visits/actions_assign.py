"""A cabinet comes to a location with its opening readings and fill, and leaves it with its closing ones."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from locations.placements.actions import end_placement, start_placement, withdraw_placement
from locations.placements.models import Placement, WithdrawnPlacement
from locations.sites.models import Location
from machines.cabinets.actions_meters import take_reading
from machines.cabinets.models import Machine, Meter, Reading, ReadingKind
from routeapp.cash.models import CashMove
from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import refuse_another
from routeapp.stock import actions as stock
from routeapp.stock.models import Place, Prize, StockCount, StockMove
from routeapp.visits.models import ServiceEntry


@dataclass(frozen=True)
class MeterShown:
    """What a meter shows, and what the person said when that looked odd."""

    meter: Meter
    value: int
    explained_as: str = ""
    reason: str = ""


@transaction.atomic
def assign(
    *,
    uuid: UUID,
    machine: Machine,
    location: Location,
    spot: str = "",
    readings: Iterable[MeterShown] = (),
    found: Mapping[Prize, int] | None = None,
    loaded: Mapping[Prize, int] | None = None,
    from_place: Place | None = None,
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Placement:
    """Start a placement: its meters count anew from `readings`, `found` prizes lie inside, `loaded` ones join them.

    Refuses what start_placement refuses. The same uuid again changes nothing.
    """
    lock("placement", uuid)
    again = Placement.objects.filter(uuid=uuid).exists()
    readings, found, loaded = list(readings), found or {}, loaded or {}
    facts = {"by": by, "at": at, "received_at": received_at}
    placement = start_placement(uuid=uuid, machine=machine, location=location, spot=spot, **facts)
    if again:
        refuse_another(placement.spot, spot)
        _refuse_another(uuid, readings, found, loaded)
        return placement
    _read(readings, ReadingKind.BASELINE, source=uuid, **facts)
    inside = stock.cabinet_place(machine)
    moves = [_move(prize, pieces, from_place, inside, at, uuid) for prize, pieces in loaded.items()]
    stock.record(moves=moves, counts=_counts(inside, found, at, uuid), by=by, at=received_at)
    return placement


def _refuse_another(
    source: UUID, readings: Sequence[MeterShown], found: Mapping[Prize, int], moved: Mapping[Prize, int]
) -> None:
    """Refuse what a form says that came before, if it said something else then. What it does not say any more was asked
    for then: its fields go by what is inside."""
    pieces = ({prize.pk: number for prize, number in each.items()} for each in (found, moved))
    told = [{one.meter.pk: one.value for one in readings}, *pieces]
    moves = StockMove.objects.entered().filter(source=source, reverses=None)
    kept = [
        dict(Reading.objects.filter(source=source).values_list("meter", "value")),
        dict(StockCount.objects.filter(source=source).values_list("prize", "quantity")),
        dict(moves.values_list("prize", "quantity")),
    ]
    refuse_another(kept, [then | now for then, now in zip(kept, told, strict=True)])


@transaction.atomic
def take_away(
    *,
    placement: Placement,
    because: str = "",
    next_status: str,
    readings: Iterable[MeterShown] = (),
    found: Mapping[Prize, int] | None = None,
    to_place: Place | None = None,
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Placement:
    """End a placement with closing `readings`; the prizes `found` go to `to_place`, or stay inside without one.

    Refuses what end_placement refuses. The same end again changes nothing.
    """
    lock("placement", placement.uuid)
    again = Placement.objects.filter(pk=placement.pk, ended_at__isnull=False).exists()
    readings, found = list(readings), found or {}
    taken = {prize: pieces for prize, pieces in found.items() if pieces and to_place}
    facts = {"by": by, "at": at, "received_at": received_at}
    placement = end_placement(placement=placement, because=because, next_status=next_status, **facts)
    source = end_of(placement)
    if again:
        refuse_another(placement.ended_because, because)
        _refuse_another(source, readings, found, taken)
        return placement
    _read(readings, ReadingKind.READING, source=source, **facts)
    inside = stock.cabinet_place(placement.machine)
    moves = [_move(prize, pieces, inside, to_place, at, source) for prize, pieces in taken.items()]
    stock.record(moves=moves, counts=_counts(inside, found, at, source), by=by, at=received_at)
    return placement


@transaction.atomic
def withdraw(*, placement: Placement, reason: str, by: Any, at: datetime) -> WithdrawnPlacement:
    """Take back a placement that never was, with its readings and prizes. What it said stays readable; twice is once.

    Refused where somebody visited the cabinet there or money of it was booked there: then it did stand there, or that
    is put right first. So no settlement can have anything of it.
    """
    lock("placement", placement.uuid)
    if not reason:
        raise Refused("Say what was wrong with it.", "reason")
    _check_nothing_came_of_it(placement)
    sources = [placement.uuid, end_of(placement)]
    Reading.objects.withdraw(sources=sources, by=by, at=at)
    stock.take_back(sources=sources, by=by, at=at)
    return withdraw_placement(placement=placement, reason=reason, by=by, at=at)


def _check_nothing_came_of_it(placement: Placement) -> None:
    stay: dict[str, Any] = {"machine": placement.machine_id, "at__gte": placement.started_at}
    if placement.ended_at:
        stay["at__lte"] = placement.ended_at
    entries = ServiceEntry.objects.filter(**stay, visit__location=placement.location_id, withdrawn_at=None)
    if at := entries.order_by("-at").values_list("at", flat=True).first():
        day = clock.local_day(at, placement.location.time_zone)
        said = f"{placement.machine} was visited there on {day:%-d %b %Y}."
        raise Refused(f"{said} Correct that visit first, or end the placement.")
    moves = CashMove.objects.standing().filter(**stay, location=placement.location_id)
    if moves.exists():
        raise Refused(f"Money of {placement.machine} was booked there. Put that right first, or end the placement.")


def end_of(placement: Placement) -> UUID:
    """The id that closing readings and counts carry as their source; a placement ends once, so it needs no form's."""
    return uuid5(placement.uuid, "end")


def _read(readings: Iterable[MeterShown], kind: str, **facts: Any) -> None:
    for shown in readings:
        take_reading(
            meter=shown.meter,
            value=shown.value,
            kind=kind,
            explained_as=shown.explained_as,
            reason=shown.reason,
            **facts,
        )


def _counts(place: Place, found: Mapping[Prize, int], at: datetime, source: UUID) -> list[StockCount]:
    return [
        StockCount(place=place, prize=prize, quantity=pieces, at=at, source=source) for prize, pieces in found.items()
    ]


def _move(
    prize: Prize, pieces: int, from_place: Place | None, to_place: Place | None, at: datetime, source: UUID
) -> StockMove:
    return StockMove(prize=prize, quantity=pieces, from_place=from_place, to_place=to_place, at=at, source=source)
