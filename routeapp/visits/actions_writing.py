"""How the parts of visit documents become facts, of many documents as of one. Only actions.py calls this, inside its
transaction."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.files.base import ContentFile

from machines.cabinets import actions as cabinets
from machines.cabinets import actions_meters as meters
from machines.cabinets import queries_meters
from machines.cabinets.models import Counts, Reading
from machines.faults import actions as faults
from machines.faults.models import Fault, Via
from routeapp.cash import actions as cash
from routeapp.cash.models import Bag, CashMove, Purse, Sealed
from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.kit.prepared import insert, row
from routeapp.stock import actions as stock
from routeapp.stock.models import StockCount, StockMove
from routeapp.visits import rules
from routeapp.visits.actions_references import References, pieces_of
from routeapp.visits.models import HostPayment, Photo, ServiceEntry, Visit
from routeapp.visits.rules_document import BagPart, Document, EntryPart, fingerprint


@dataclass(frozen=True)
class Paper:
    """A document on its way into the books. `newest`: no correction of it came before it.

    `device_at` is what the phone's clock showed when it was sent.
    """

    document: Document
    photos: Mapping[UUID, bytes]
    made_by: int  # who was there, by id
    newest: bool = True
    device_at: datetime | None = None

    @property
    def loose_bag(self) -> BagPart | None:
        """The bag for cash counted at the site, when there is any."""
        counted = any(part.cash.taken == "counted" and part.cash.cents for part in self.document.entries)
        return self.document.loose_bag if counted or self.document.host_payment else None


def write_visits(papers: Sequence[Paper], by: Any, at: datetime) -> list[Visit]:
    visits = [_visit(paper, by, at) for paper in papers]
    insert(visits)
    return visits


def _visit(paper: Paper, by: Any, at: datetime) -> Visit:
    document, device_at = paper.document, paper.device_at
    return row(
        Visit,
        uuid=document.id,
        location_id=document.location,
        made_by_id=paper.made_by,
        at=document.arrived_at,
        departed_at=document.departed_at,
        device_at=device_at,
        doubtful=not document.void and rules.is_doubtful(document.departed_at, device_at, at),
        replaces=document.replaces,
        void=document.void,
        reason=document.reason,
        note=document.note,
        document=document.model_dump(mode="json"),
        fingerprint=fingerprint(document),
        by_id=by.pk,
        received_at=at,
        source=document.id,
    )


def write_bags(papers: Sequence[Paper], by: Any, at: datetime) -> tuple[dict[UUID, Bag], list[Bag]]:
    """Every bag that money of these visits went into, by its id, and those that stood in the books before.

    Only the newest version of a visit renames one.
    """
    said: list[Bag] = []
    renamed: list[UUID] = []
    for paper in papers:
        document = paper.document
        sealed = [part.cash.bag for part in document.entries if part.cash.taken == "sealed" and part.cash.bag]
        loose = [paper.loose_bag] if paper.loose_bag else []
        for part, is_sealed in [(part, True) for part in sealed] + [(part, False) for part in loose]:
            facts = {"location_id": document.location, "at": document.arrived_at, "by_id": paper.made_by}
            said.append(row(Bag, uuid=part.id, number=part.number, sealed=is_sealed, **facts))
            renamed += [part.id] if paper.newest else []
    return cash.get_bags(said=said, rename=renamed, by=by, at=at)


def write_entries(papers: Sequence[Paper], bags: dict[UUID, Bag]) -> None:
    insert(_entry(part, paper, bags) for paper in papers for part in paper.document.entries)


def _entry(part: EntryPart, paper: Paper, bags: dict[UUID, Bag]) -> ServiceEntry:
    counted = part.cash.taken == "counted"
    bag = part.cash.bag if part.cash.taken == "sealed" else paper.loose_bag if counted else None
    return row(
        ServiceEntry,
        uuid=part.id,
        visit_id=paper.document.id,
        machine_id=part.machine,
        at=paper.document.arrived_at,
        cash=part.cash.taken,
        how=part.cash.how if counted else "",
        cents=part.cash.cents if counted else None,
        lines=part.cash.lines,
        bag=bags[bag.id] if bag else None,
        checks=part.checks,
        note=part.note,
    )


def write_readings(papers: Sequence[Paper], known: References, by: Any, at: datetime) -> None:
    readings = [
        row(
            Reading,
            meter=known.meters[reading.meter],
            value=reading.value,
            tests_before=queries_meters.test_counts(known.meters[reading.meter], part.tests_before),
            tests_after=queries_meters.test_counts(known.meters[reading.meter], part.tests_after),
            explained_as=reading.explained_as,
            reason=reading.reason,
            at=paper.document.arrived_at,
            source=part.id,
        )
        for paper in papers
        for part in paper.document.entries
        for reading in part.readings
    ]
    meters.append(readings=readings, by=by, at=at)


def write_cash(papers: Sequence[Paper], known: References, bags: dict[UUID, Bag], by: Any, at: datetime) -> None:
    """Counted cash goes through the box into the loose bag, sealed cash is noted in its bag, the host is paid."""
    moves: list[CashMove] = []
    sealed: list[Sealed] = []
    for paper in papers:
        document = paper.document
        day = clock.local_day(document.arrived_at, known.locations[document.location].time_zone)
        facts: dict[str, Any] = {"location_id": document.location, "day": day}
        for part in document.entries:
            if part.cash.taken == "counted" and part.cash.cents and paper.loose_bag:
                moves += cash.take_moves(
                    machine_id=part.machine,
                    bag=bags[paper.loose_bag.id],
                    cents=part.cash.cents,
                    entry=part.id,
                    source=part.id,
                    moment=document.arrived_at,
                    **facts,
                )
            elif part.cash.taken == "sealed" and part.cash.bag:
                sealed.append(_sealed(part, part.cash.bag, document, bags, by, at, **facts))
        moves += _pay_host(document, bags, **facts)
    cash.append(moves=moves, by=by, at=at)
    insert(sealed)


def _sealed(
    part: EntryPart, bag: BagPart, document: Document, bags: dict[UUID, Bag], by: Any, at: datetime, **facts: Any
) -> Sealed:
    return row(
        Sealed,
        bag=bags[bag.id],
        machine_id=part.machine,
        estimate_cents=part.cash.estimate_cents,
        at=document.arrived_at,
        source=part.id,
        by_id=by.pk,
        received_at=at,
        **facts,
    )


def _pay_host(document: Document, bags: dict[UUID, Bag], **facts: Any) -> list[CashMove]:
    if document.host_payment is None:
        return []
    if document.loose_bag is None:
        raise Refused("Say which bag the host was paid out of.", "loose_bag")
    paid = document.host_payment
    HostPayment.objects.create(visit_id=document.id, cents=paid.cents, received_by=paid.received_by)
    return [
        row(
            CashMove,
            from_purse=Purse.BAG,
            to_purse=Purse.HOST,
            cents=paid.cents,
            bag=bags[document.loose_bag.id],
            at=document.arrived_at,
            source=document.id,
            **facts,
        )
    ]


def write_stock(papers: Sequence[Paper], known: References, by: Any, at: datetime) -> None:
    """What was found, loaded and taken out, and since when prizes meters show something else."""
    told = [(part, paper.document) for paper in papers for part in paper.document.entries]
    parts = [(part, document) for part, document in told if part.machine in known.places]
    read: dict[int, datetime] = {}
    for part, document in told:
        if any(known.meters[reading.meter].counts == Counts.PRIZES_OUT for reading in part.readings):
            read[part.machine] = min(document.arrived_at, read.get(part.machine, document.arrived_at))
    counts = [count for part, document in parts for count in _counts(part, document, known)]
    moves = [move for part, document in parts for move in _moves(part, document, known)]
    stock.record(moves=moves, counts=counts, read=read, by=by, at=at)


def _counts(part: EntryPart, document: Document, known: References) -> list[StockCount]:
    return [
        row(
            StockCount,
            place=known.places[part.machine],
            prize_id=prize,
            quantity=pieces,
            estimated=part.found_estimated,
            at=document.arrived_at,
            source=part.id,
        )
        for prize, pieces in pieces_of(part.found).items()
    ]


def _moves(part: EntryPart, document: Document, known: References) -> list[StockMove]:
    cabinet, source = known.places[part.machine], known.load_from(document)
    facts = {"at": document.arrived_at, "source": part.id}
    return [
        row(StockMove, prize_id=prize, quantity=pieces, from_place=ends[0], to_place=ends[1], **facts)
        for taken, ends in (
            (known.loaded(part), (source, cabinet)),
            (pieces_of(part.removed), (cabinet, source)),
        )
        for prize, pieces in taken.items()
        if pieces
    ]


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
        if found[fault.id].machine_id != machine.pk:
            raise Refused("A fault in this visit has the id of another cabinet's. Enter this visit anew.", "entries")
    for fix in part.fixed:
        if fix.fault not in found:
            raise Refused("A fault marked as fixed belongs to another cabinet.", "entries")
        faults.fix_fault(fault=found[fix.fault], how=fix.how, **who_and_when)


def write_photos(part: EntryPart, photos: Mapping[UUID, bytes]) -> None:
    for photo in part.photos:
        Photo.objects.create(uuid=photo, entry_id=part.id, file=_picture(photo, photos))


def write_signature(document: Document, photos: Mapping[UUID, bytes]) -> None:
    """What the host drew when they were paid, beside the payment."""
    if document.host_payment and (drawn := document.host_payment.signature):
        paid = HostPayment.objects.get(visit=document.id)
        paid.signature = _picture(drawn, photos)
        paid.save(update_fields=["signature"])


def _picture(photo: UUID, photos: Mapping[UUID, bytes]) -> ContentFile:
    if photo not in photos:
        raise Refused("A photo of this visit did not arrive. Send the visit again with all its photos.", "photos")
    return ContentFile(photos[photo], name=f"{photo}.jpg")
