"""How the parts of a visit document become facts. Only actions.py calls this, inside its transaction."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.files.base import ContentFile

from machines.cabinets import actions as cabinets
from machines.cabinets import actions_meters as meters
from machines.cabinets import queries_meters
from machines.cabinets.models import Counts, Meter, Reading
from machines.faults import actions as faults
from machines.faults.models import Fault, Via
from routeapp.cash import actions as cash
from routeapp.cash.models import Bag, CashMove, Purse, Sealed
from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.stock import actions as stock
from routeapp.stock.models import StockCount, StockMove
from routeapp.visits.actions_references import References, pieces_of
from routeapp.visits.models import HostPayment, Photo, ServiceEntry, Visit
from routeapp.visits.rules_document import BagPart, Document, EntryPart, fingerprint


def write_visit(document: Document, known: References, by: Any, at: datetime) -> Visit:
    return Visit.objects.create(
        uuid=document.id,
        location=known.location,
        at=document.arrived_at,
        departed_at=document.departed_at,
        device_at=document.device_at,
        replaces=document.replaces,
        void=document.void,
        reason=document.reason,
        note=document.note,
        document=document.model_dump(mode="json"),
        fingerprint=fingerprint(document),
        by=by,
        received_at=at,
        source=document.id,
    )


def write_entries(visit: Visit, document: Document, bags: dict[UUID, Bag]) -> None:
    ServiceEntry.objects.bulk_create(_entry(visit, part, document, bags) for part in document.entries)


def _entry(visit: Visit, part: EntryPart, document: Document, bags: dict[UUID, Bag]) -> ServiceEntry:
    counted = part.cash.taken == "counted"
    bag = part.cash.bag if part.cash.taken == "sealed" else document.loose_bag if counted else None
    return ServiceEntry(
        uuid=part.id,
        visit=visit,
        machine_id=part.machine,
        at=visit.at,
        cash=part.cash.taken,
        how=part.cash.how if counted else "",
        cents=part.cash.cents if counted else None,
        lines=part.cash.lines,
        bag=bags.get(bag.id) if bag else None,
        checks=part.checks,
        note=part.note,
    )


def bags_for(document: Document, known: References, newest: bool, by: Any, at: datetime) -> dict[UUID, Bag]:
    """Every bag that money of this visit went into, by its id. Only the `newest` version of a visit renames one."""
    parts: list[tuple[BagPart, bool]] = [
        (part.cash.bag, True) for part in document.entries if part.cash.taken == "sealed" and part.cash.bag
    ]
    if document.loose_bag and (document.host_payment or any(part.cash.cents for part in document.entries)):
        parts.append((document.loose_bag, False))
    facts = {"location": known.location, "rename": newest, "by": by, "at": document.arrived_at, "received_at": at}
    return {part.id: cash.get_bag(uuid=part.id, number=part.number, sealed=sealed, **facts) for part, sealed in parts}


def write_readings(document: Document, known: References, by: Any, at: datetime) -> None:
    readings = [
        Reading(
            meter=known.meters[reading.meter],
            value=reading.value,
            tests_before=_pulses(known.meters[reading.meter], part.tests_before),
            tests_after=_pulses(known.meters[reading.meter], part.tests_after),
            explained_as=reading.explained_as,
            reason=reading.reason,
            at=document.arrived_at,
            source=part.id,
        )
        for part in document.entries
        for reading in part.readings
    ]
    if readings:
        meters.append(readings=readings, by=by, at=at)


def _pulses(meter: Meter, test_plays: int) -> int:
    """What free test plays put on a meter; how many of them won a prize is not known."""
    if not meter.counts_tests or meter.counts == Counts.PRIZES_OUT:
        return 0
    return test_plays * queries_meters.counts_per_play(meter)


def write_cash(visit: Visit, document: Document, bags: dict[UUID, Bag], by: Any, at: datetime) -> None:
    """Counted cash goes through the box into the loose bag, sealed cash is noted in its bag, the host is paid."""
    day = clock.local_day(visit.at, visit.location.time_zone)
    moves: list[CashMove] = []
    for part in document.entries:
        if part.cash.taken == "counted" and part.cash.cents and document.loose_bag:
            moves += cash.take_moves(
                machine_id=part.machine,
                location_id=visit.location_id,
                bag=bags[document.loose_bag.id],
                cents=part.cash.cents,
                entry=part.id,
                source=part.id,
                moment=visit.at,
                day=day,
            )
    moves += _pay_host(visit, document, bags, day)
    if moves:
        cash.append(moves=moves, by=by, at=at)
    sealed = [_sealed(visit, part, bags, day, by, at) for part in document.entries if part.cash.taken == "sealed"]
    Sealed.objects.bulk_create(sealed)
    if bags:
        cash.settle_bags(bags=bags.values(), by=by, at=at)


def _sealed(visit: Visit, part: EntryPart, bags: dict[UUID, Bag], day: date, by: Any, at: datetime) -> Sealed:
    if part.cash.bag is None:
        raise Refused("A sealed bag needs its number.", "entries")
    return Sealed(
        bag=bags[part.cash.bag.id],
        machine_id=part.machine,
        location_id=visit.location_id,
        day=day,
        estimate_cents=part.cash.estimate_cents,
        at=visit.at,
        source=part.id,
        by=by,
        received_at=at,
    )


def _pay_host(visit: Visit, document: Document, bags: dict[UUID, Bag], day: date) -> list[CashMove]:
    if document.host_payment is None:
        return []
    if document.loose_bag is None:
        raise Refused("Say which bag the host was paid out of.", "loose_bag")
    paid = document.host_payment
    HostPayment.objects.create(visit=visit, cents=paid.cents, received_by=paid.received_by)
    return [
        CashMove(
            from_purse=Purse.BAG,
            to_purse=Purse.HOST,
            cents=paid.cents,
            day=day,
            location_id=visit.location_id,
            bag=bags[document.loose_bag.id],
            at=visit.at,
            source=visit.pk,
        )
    ]


def write_stock(document: Document, known: References, by: Any, at: datetime) -> None:
    counts: list[StockCount] = []
    moves: list[StockMove] = []
    for part in document.entries:
        if part.machine not in known.places:
            continue
        cabinet, facts = known.places[part.machine], {"at": document.arrived_at, "source": part.id}
        for prize, pieces in pieces_of(part.found).items():
            counts.append(
                StockCount(
                    place=cabinet,
                    prize=known.prizes[prize],
                    quantity=pieces,
                    estimated=part.found_estimated,
                    **facts,
                )
            )
        for taken, ends in (
            (known.loaded(part), {"from_place": known.load_from, "to_place": cabinet}),
            (pieces_of(part.removed), {"from_place": cabinet, "to_place": known.load_from}),
        ):
            moves += [
                StockMove(prize=known.prizes[prize], quantity=pieces, **ends, **facts)
                for prize, pieces in taken.items()
                if pieces
            ]
    if moves or counts:
        stock.record(moves=moves, counts=counts, by=by, at=at)


def write_settings_and_faults(part: EntryPart, document: Document, known: References, by: Any, at: datetime) -> None:
    who_and_when = {"by": by, "at": document.arrived_at, "received_at": at, "source": part.id}
    machine = known.machines[part.machine]
    changed = part.settings.model_dump(exclude_none=True) if part.settings else {}
    if changed:
        cabinets.change_settings(machine=machine, **changed, **who_and_when)
    found: dict[UUID, Fault] = dict(known.faults)
    for fault in part.faults:
        found[fault.id] = faults.report_fault(
            uuid=fault.id,
            machine=machine,
            text=fault.text,
            via=Via.VISIT,
            stops_play=fault.stops_play,
            **who_and_when,
        )
    for fix in part.fixed:
        if fix.fault not in found:
            raise Refused("A fault marked as fixed belongs to another cabinet.", "entries")
        faults.fix_fault(fault=found[fix.fault], how=fix.how, **who_and_when)


def write_photos(part: EntryPart, photos: Mapping[UUID, bytes]) -> None:
    for photo in part.photos:
        if photo not in photos:
            raise Refused("A photo of this visit did not arrive. Send the visit again with all its photos.", "photos")
        Photo.objects.create(uuid=photo, entry_id=part.id, file=ContentFile(photos[photo], name=f"{photo}.jpg"))
