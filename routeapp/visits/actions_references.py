"""What a visit document names, looked up at once and checked: location, cabinets, meters, prizes, mixes, faults."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from locations.sites.models import Location
from machines.cabinets.models import Machine, Meter
from machines.faults.models import Fault
from routeapp.cash import rules as cash
from routeapp.kit import money
from routeapp.kit.errors import Refused
from routeapp.stock import actions as stock
from routeapp.stock.models import Mix, Place, PlaceKind, Prize
from routeapp.visits.models import Photo, ServiceEntry
from routeapp.visits.rules_document import CashPart, Document, EntryPart

CLOCK_MAY_RUN_AHEAD = timedelta(hours=24)
FIRST_YEAR = 2000


@dataclass(frozen=True)
class References:
    location: Location
    machines: dict[int, Machine]
    places: dict[int, Place]  # by machine id
    meters: dict[int, Meter]
    prizes: dict[int, Prize]
    mixes: dict[int, Mix]
    faults: dict[UUID, Fault]
    load_from: Place | None

    def loaded(self, part: EntryPart) -> Counter[int]:
        """Pieces loaded by prize id, mixes spread out into their prizes."""
        pieces = pieces_of(part.loaded)
        for mix in part.mixes:
            for line in self.mixes[mix.mix].lines.all():
                pieces[line.prize_id] += line.quantity * mix.times
        return pieces


def pieces_of(parts: Iterable[Any]) -> Counter[int]:
    pieces: Counter[int] = Counter()
    for part in parts:
        pieces[part.prize] += part.pieces
    return pieces


def look_up(document: Document, by: Any, at: datetime) -> References:
    """Fetch all that a document names. Refuses, with the path of the field, what is not there or does not fit."""
    _check_clock(document, at)
    _check_ids(document)
    parts = document.entries
    location = Location.objects.filter(pk=document.location).first()
    if location is None:
        raise Refused("This location is not known here.", "location")
    machines = _all(Machine.objects.all(), {part.machine for part in parts}, "cabinet")
    meter_ids = {reading.meter for part in parts for reading in part.readings}
    prize_parts = [one for part in parts for one in (*part.found, *part.loaded, *part.removed)]
    mix_ids = {mix.mix for part in parts for mix in part.mixes}
    mixes = _all(Mix.objects.prefetch_related("lines"), mix_ids, "mix")
    prize_ids = {one.prize for one in prize_parts} | {
        line.prize_id for mix in mixes.values() for line in mix.lines.all()
    }
    known = References(
        location=location,
        machines=machines,
        places=stock.cabinet_places(machines.values()) if prize_parts or mixes else {},
        meters=_all(Meter.objects.select_related("machine"), meter_ids, "meter"),
        prizes=_all(Prize.objects.all(), prize_ids, "prize"),
        mixes=mixes,
        faults=_faults(document),
        load_from=_load_from(document, by, bool(prize_parts or mixes)),
    )
    for number, part in enumerate(parts):
        _check_entry(part, known, document, f"entries.{number}")
    return known


def _all(rows: Any, ids: set[int], noun: str) -> dict[int, Any]:
    found = rows.in_bulk(ids) if ids else {}
    if missing := ids - set(found):
        raise Refused(f"A {noun} in this visit is not known here (number {min(missing)}).", "entries")
    return found


def _faults(document: Document) -> dict[UUID, Fault]:
    new = {fault.id for part in document.entries for fault in part.faults}
    fixed = {fix.fault for part in document.entries for fix in part.fixed} - new
    found = {fault.uuid: fault for fault in Fault.objects.filter(uuid__in=fixed)} if fixed else {}
    if fixed - set(found):
        raise Refused("A fault marked as fixed is not known here.", "entries")
    return found


def _load_from(document: Document, by: Any, needed: bool) -> Place | None:
    """The place named, else the person's own van, else the first store."""
    if document.load_from is not None:
        place = Place.objects.filter(pk=document.load_from, kind__in=(PlaceKind.STORE, PlaceKind.VAN)).first()
        if place is None:
            raise Refused("The place the prizes were taken from is not known here.", "load_from")
        return place
    if not needed:
        return None
    van = Place.objects.filter(person=by).first()
    return van or Place.objects.filter(kind=PlaceKind.STORE).order_by("pk").first() or _first_store()


def _first_store() -> Place:
    return Place.objects.get_or_create(name="Store", defaults={"kind": PlaceKind.STORE})[0]


def _check_clock(document: Document, at: datetime) -> None:
    if document.arrived_at > at + CLOCK_MAY_RUN_AHEAD:
        raise Refused("The arrival lies in the future. Check the phone's date and time.", "arrived_at")
    if document.departed_at > at + CLOCK_MAY_RUN_AHEAD:
        raise Refused("The departure lies in the future. Check the phone's date and time.", "departed_at")
    if document.arrived_at.year < FIRST_YEAR:
        raise Refused("The arrival lies too far back. Check the phone's date and time.", "arrived_at")


def _check_ids(document: Document) -> None:
    """Ids are made by the sender; those of entries and photos must not belong to another visit."""
    if ServiceEntry.objects.filter(pk__in=[part.id for part in document.entries]).exists():
        raise Refused("A cabinet in this visit has the id of one in another visit. Enter this visit anew.", "entries")
    if document.photos() and Photo.objects.filter(pk__in=document.photos()).exists():
        raise Refused("A photo in this visit belongs to another visit already. Take it anew.", "photos")


def _check_entry(part: EntryPart, known: References, document: Document, path: str) -> None:
    machine = known.machines[part.machine]
    read = [reading.meter for reading in part.readings]
    if len(set(read)) < len(read):
        raise Refused(f"A meter of {machine} was read twice in this visit.", f"{path}.readings")
    for number, reading in enumerate(part.readings):
        meter, field = known.meters[reading.meter], f"{path}.readings.{number}.value"
        if meter.machine_id != machine.pk:
            raise Refused(f"That meter is not on cabinet {machine}.", field)
        if reading.value >= 10**meter.digits:
            raise Refused(f"The {meter} of {machine} has only {meter.digits} digits.", field)
    _check_cash(part.cash, document, f"{path}.cash")
    for quantity in (*known.loaded(part).values(), *pieces_of(part.found).values(), *pieces_of(part.removed).values()):
        if quantity > stock.LARGEST_LOAD:
            raise Refused(f"{quantity:,} prizes do not fit into {machine}.", f"{path}.loaded")


def _check_cash(part: CashPart, document: Document, path: str) -> None:
    if part.taken != "counted":
        return
    if part.lines:
        try:
            worth = cash.total(part.lines, money.active())
        except KeyError:
            raise Refused("A coin or note in this count is not one of this currency.", f"{path}.lines") from None
        if worth != part.cents:
            said = f"{money.as_text(worth)}, not {money.as_text(part.cents)}"
            raise Refused(f"The coins and notes come to {said}. Count again.", f"{path}.cents")
    if part.cents and document.loose_bag is None:
        raise Refused("Counted cash needs a bag to go into.", "loose_bag")
