"""What visit documents name, looked up at once and checked: location, cabinets, meters, prizes, mixes, faults."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from locations.sites.models import Location
from machines.cabinets.models import Machine, Meter
from machines.faults.models import Fault
from routeapp.cash import rules as cash
from routeapp.cash.models import Bag
from routeapp.kit import money
from routeapp.kit.errors import Refused
from routeapp.kit.prepared import Prepared
from routeapp.stock import actions as stock
from routeapp.stock.models import Mix, Place, PlaceKind, Prize
from routeapp.visits.models import Photo, ServiceEntry, Visit
from routeapp.visits.rules_document import CashPart, Document, EntryPart

CLOCK_MAY_RUN_AHEAD = timedelta(hours=24)
FIRST_YEAR = 2000


@dataclass(frozen=True)
class References:
    locations: dict[int, Location]
    machines: dict[int, Machine]
    places: dict[int, Place]  # by machine id
    meters: dict[int, Meter]
    prizes: dict[int, Prize]
    mixes: dict[int, Mix]
    faults: dict[UUID, Fault]
    sources: dict[int, Place]  # places that prizes were taken from, by number
    own_source: Place | None  # where the person takes prizes from when the document does not say

    def load_from(self, document: Document) -> Place | None:
        return self.own_source if document.load_from is None else self.sources[document.load_from]

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


def look_up(documents: Sequence[Document], by: Any) -> References:
    """Fetch all that these documents name, at once. Refuses what is not there."""
    parts = [part for document in documents for part in document.entries]
    machines = _all(_machines, {part.machine for part in parts}, "cabinet")
    prize_parts = [one for part in parts for one in (*part.found, *part.loaded, *part.removed)]
    mixes = _all(_mixes, {mix.mix for part in parts for mix in part.mixes}, "mix")
    prize_ids = {one.prize for one in prize_parts} | {
        line.prize_id for mix in mixes.values() for line in mix.lines.all()
    }
    named = {document.load_from for document in documents if document.load_from is not None}
    unnamed = prize_ids and any(document.load_from is None for document in documents)
    return References(
        locations=_all(_locations, {document.location for document in documents}, "location", "location"),
        machines=machines,
        places=stock.cabinet_places(machines.values()) if prize_ids else {},
        meters=_meters_on(machines, {reading.meter for part in parts for reading in part.readings}),
        prizes=_all(_prizes, prize_ids, "prize"),
        mixes=mixes,
        faults=_faults(parts),
        sources=_all(_sources, named, "place that prizes were taken from", "load_from"),
        own_source=own_source(by) if unnamed else None,
    )


def check(document: Document, known: References, at: datetime) -> None:
    """Refuses, with the path of the field, what does not fit together; `at` is now, also by a phone's fast clock."""
    _check_clock(document, at)
    for number, part in enumerate(document.entries):
        _check_entry(part, known, document, f"entries.{number}")


_locations = Prepared(lambda ids: Location.objects.filter(pk__in=ids), list)
_machines = Prepared(lambda ids: Machine.objects.filter(pk__in=ids).order_by(), list)
_meters = Prepared(lambda ids: Meter.objects.filter(pk__in=ids).order_by(), list)
_prizes = Prepared(lambda ids: Prize.objects.filter(pk__in=ids).order_by(), list)
_sources = Prepared(lambda ids: Place.objects.filter(pk__in=ids, kind__in=(PlaceKind.STORE, PlaceKind.VAN)), list)


def _uses(named: list[UUID], own: list[UUID]) -> QuerySet:
    """What has one of these ids already: entries and visits any of them, bags those that are not meant for bags."""
    entries = ServiceEntry.objects.filter(pk__in=named).order_by().values_list("pk")
    visits = Visit.objects.filter(pk__in=named).order_by().values_list("pk")
    return entries.union(visits, Bag.objects.filter(uuid__in=own).order_by().values_list("uuid"))


_used = Prepared(_uses, list, list)


def _mixes(ids: list[int]) -> QuerySet:
    return Mix.objects.filter(pk__in=ids).prefetch_related("lines")


def _meters_on(machines: dict[int, Machine], ids: set[int]) -> dict[int, Meter]:
    found = _all(_meters, ids, "meter")
    for meter in found.values():
        if meter.machine_id in machines:  # others are refused with their entry
            meter.machine = machines[meter.machine_id]
    return found


def _all(rows: Any, ids: set[int], noun: str, field: str = "entries") -> dict[int, Any]:
    found = {row.pk: row for row in rows(list(ids))} if ids else {}
    if missing := ids - set(found):
        raise Refused(f"A {noun} in this visit is not known here (number {min(missing)}).", field)
    return found


def _faults(parts: Sequence[EntryPart]) -> dict[UUID, Fault]:
    new = {fault.id for part in parts for fault in part.faults}
    fixed = {fix.fault for part in parts for fix in part.fixed} - new
    found = {fault.uuid: fault for fault in Fault.objects.filter(uuid__in=fixed)} if fixed else {}
    if fixed - set(found):
        raise Refused("A fault marked as fixed is not known here.", "entries")
    return found


def own_source(by: Any) -> Place:
    """The person's own van, else the first store."""
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


def check_ids(documents: Sequence[Document]) -> None:
    """Ids are made by the sender; what another visit has named must not be named anew. Only bags are shared."""
    own = [key for document in documents for key in (document.id, *(part.id for part in document.entries))]
    if _used([*own, *(bag.id for document in documents for bag in document.bags())], own):
        raise Refused("Something in this visit has an id that another visit uses. Enter this visit anew.", "entries")
    photos = [photo for document in documents for photo in document.photos()]
    if photos and Photo.objects.filter(pk__in=photos).exists():
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
