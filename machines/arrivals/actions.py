"""Writing down a delivery and what was found in it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.core.files.base import ContentFile
from django.db import transaction

from machines.arrivals.models import Arrival, ArrivalPhoto, Finding, Outside, State
from machines.arrivals.queries import damaged_cabinets
from machines.cabinets.actions import change_status
from machines.cabinets.models import CabinetModel, Machine, Status
from machines.parts import actions as parts
from machines.parts import actions_keys as keys
from machines.parts.models import Lock, Part, PartPlaceKind
from machines.purchases.actions_orders import receive
from machines.purchases.models import Order, Receipt
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock


class Clash(Refused):
    """Another document has this id."""


@dataclass(frozen=True)
class Door:
    """What was seen before signing."""

    carrier: str
    listed: int
    came: int
    outside: str
    words: str


@dataclass(frozen=True)
class Line:
    """What one line of a cabinet's list showed."""

    what: str
    state: str
    note: str = ""


@dataclass(frozen=True)
class Unpacked:
    """A cabinet that was unpacked: its lines, its serial number, and how many keys of each lock came."""

    machine: Machine
    lines: Sequence[Line]
    serial: str = ""
    keys: Mapping[str, int] = field(default_factory=dict)
    keys_out: Mapping[str, int] = field(default_factory=dict)  # of these, given out before a correction


@dataclass(frozen=True)
class Spare:
    """One line of the packing list."""

    name: str
    listed: int
    came: int


@dataclass(frozen=True)
class Photographed:
    """A photo, and what it shows: one line of a cabinet's list, a cabinet, or the delivery."""

    content: bytes
    machine: int | None = None
    what: str = ""


@dataclass(frozen=True)
class Told:
    """All that one document says. Without `door` it tells what was unpacked later of the delivery it `follows`.

    `typed` are the page's own fields, by which the page can be filled again when it is corrected.
    """

    uuid: UUID
    fingerprint: str
    order: Order
    follows: Arrival | None = None
    door: Door | None = None
    cabinets: Sequence[Unpacked] = ()
    spares: Sequence[Spare] = ()
    note: str = ""
    replaces: Arrival | None = None
    reason: str = ""
    typed: Mapping[str, Any] = field(default_factory=dict)


@transaction.atomic
def record_arrival(
    *, told: Told, photos: Mapping[UUID, Photographed], by: Any, at: datetime, received_at: datetime
) -> tuple[Arrival, bool]:
    """Write down what came and what was found; True when it is new. The same document again changes nothing.

    Cabinets that came have arrived, keys and spares are here, the order is received. Raises Clash for another document
    with the same id. Refuses a cabinet that was looked at before.
    """
    lock("arrival", told.uuid)
    if known := Arrival.objects.filter(uuid=told.uuid).select_related("order").first():
        if known.fingerprint != told.fingerprint or known.by_id != by.pk:
            raise Clash("Another delivery was sent under this id. This one stays with you until you decide.")
        return known, False
    Order.objects.select_for_update().get(pk=told.order.pk)
    _check(told)
    facts = {"by": by, "at": at, "received_at": received_at}
    arrival = _arrival(told, facts)
    for cabinet in told.cabinets:
        _unpack(arrival, cabinet, facts)
    for spare in told.spares:
        _take_in(arrival, spare, facts)
    _keep(photos, arrival, told)
    if arrival.outside != Outside.REFUSED:
        _receive(arrival, told.door, facts)
    verb = "unpacked" if told.follows else "sent back" if arrival.outside == Outside.REFUSED else "received"
    audit.record(verb, arrival, by=by, at=received_at)
    return arrival, True


def _check(told: Told) -> None:
    seen = Finding.objects.live().filter(machine__in=[one.machine for one in told.cabinets]).select_related("machine")
    if double := seen.filter(arrival__order=told.order).first():
        raise Refused(f"{double.machine} was looked at already. Leave it out here.", f"c{double.machine_id}-unpacked")
    if told.door and told.door.outside == Outside.REFUSED and told.cabinets:
        raise Refused("What was sent back cannot have been unpacked. Say one of the two.", "outside")
    if not told.door and not (told.cabinets or told.spares or told.note):
        raise Refused("Nothing is entered yet. Tick a cabinet that was unpacked.")


def _arrival(told: Told, facts: dict[str, Any]) -> Arrival:
    door = told.door
    about: dict[str, Any] = {}
    if door:
        about = {"carrier": door.carrier, "listed": door.listed, "came": door.came, "outside": door.outside}
        about["receipt_words"] = door.words
    said = {"uuid": told.uuid, "fingerprint": told.fingerprint, "order": told.order, "note": told.note}
    said |= {"follows": told.follows, "replaces": told.replaces, "reason": told.reason, "typed": dict(told.typed)}
    arrival = Arrival.objects.create(**said, **about, **facts)
    if door and door.outside == Outside.DAMAGED:
        _find(arrival, None, Line("Outside", State.DAMAGED, door.words[:300]), facts)
    if door and door.came < door.listed:
        _find(arrival, None, Line("Pieces on the delivery receipt", State.MISSING), facts, door.listed - door.came)
    return arrival


def _find(arrival: Arrival, machine: Machine | None, line: Line, facts: dict[str, Any], pieces: int = 1) -> None:
    said = {"what": line.what, "state": line.state, "note": line.note, "pieces": pieces, "source": arrival.uuid}
    Finding.objects.create(arrival=arrival, machine=machine, **said, **facts)


def _unpack(arrival: Arrival, cabinet: Unpacked, facts: dict[str, Any]) -> None:
    machine = Machine.objects.select_for_update().get(pk=cabinet.machine.pk)
    for line in cabinet.lines:
        _find(arrival, machine, line, facts)
    if cabinet.serial and cabinet.serial != machine.serial:
        machine.serial = cabinet.serial
        machine.save(update_fields=["serial"])
    if machine.status == Status.ORDERED:
        change_status(machine=machine, status=Status.ARRIVED, source=arrival.uuid, **facts)
    for name, copies in cabinet.keys.items():
        _count_keys(arrival, machine, name, copies, cabinet.keys_out.get(name, 0), facts)


def _count_keys(arrival: Arrival, machine: Machine, name: str, copies: int, out: int, facts: dict[str, Any]) -> None:
    """Keys that came lie with the spare ones but for those given `out` already; a lock without any misses its keys."""
    signed = {"by": facts["by"], "at": facts["at"]}
    held = Lock.objects.filter(machines=machine, name=name).first()
    held = held or keys.save_lock(held=None, name=name, machines=[machine], **signed)
    if copies > out:
        keys.add_copies(uuid=uuid5(arrival.uuid, f"keys {machine.pk} {name}"), of=held, copies=copies - out, **signed)
    elif not copies:
        _find(arrival, machine, Line(f"Keys: {name}"[:120], State.MISSING), facts)


def _take_in(arrival: Arrival, spare: Spare, facts: dict[str, Any]) -> None:
    signed = {"by": facts["by"], "at": facts["at"]}
    if spare.came < spare.listed:
        _find(arrival, None, Line(f"Spare: {spare.name}"[:120], State.MISSING), facts, spare.listed - spare.came)
    if not spare.came:
        return
    fits = CabinetModel.objects.filter(pk__in=arrival.order.lines.values("model"))
    part = Part.objects.filter(name__iexact=spare.name).first()
    part = part or parts.save_part(part=None, name=spare.name, fits=fits, **signed)
    parts.move_part(
        uuid=uuid5(arrival.uuid, f"spare {part.pk}"),
        part=part,
        pieces=spare.came,
        to_place=parts.first_shelf(**signed),
        outside=PartPlaceKind.SUPPLIER,
        source=arrival.uuid,
        **facts,
    )


def _keep(photos: Mapping[UUID, Photographed], arrival: Arrival, told: Told) -> None:
    machines = {one.machine.pk: one.machine for one in told.cabinets}
    for uuid, one in photos.items():
        if ArrivalPhoto.objects.filter(pk=uuid).exists():
            raise Refused("A photo was sent with another delivery already. Choose it again.", "photos")
        machine = machines.get(one.machine)
        photo = ArrivalPhoto(uuid=uuid, arrival=arrival, machine=machine, what=one.what if machine else "")
        photo.file.save(f"{uuid}.jpg", ContentFile(one.content), save=False)
        photo.save(force_insert=True)


def _receive(arrival: Arrival, door: Door | None, facts: dict[str, Any]) -> None:
    """Tell the order how many pieces came and how many of its cabinets are damaged, by all that is known now."""
    before = Receipt.objects.live().filter(order=arrival.order).first()
    pieces = sum(arrival.order.lines.values_list("pieces", flat=True))
    came = min(door.came, pieces) if door else before.came if before else pieces
    damaged = min(damaged_cabinets(arrival.order), came)
    receive(order=arrival.order, came=came, damaged=damaged, source=arrival.uuid, **facts)
