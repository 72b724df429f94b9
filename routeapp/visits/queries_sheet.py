"""What the visit page knows beforehand about each cabinet, so that it asks for nothing the software knows."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery

from locations.sites.models import Location
from machines.cabinets import queries as cabinets
from machines.cabinets import queries_meters
from machines.cabinets.models import Counts, Machine, Meter
from machines.cabinets.queries import CurrentSettings
from machines.faults import queries as faults
from machines.faults.models import Fault
from routeapp.cards.queries_plays import with_readers
from routeapp.stock import queries as stock
from routeapp.stock.models import Mix, Place, Prize
from routeapp.visits import queries, rules
from routeapp.visits.models import ServiceEntry
from routeapp.visits.rules_document import Document, EntryPart


@dataclass(frozen=True)
class CabinetSheet:
    """One cabinet as the person in front of it should find it."""

    machine: Machine
    meters: list[Meter]  # each with last_value and last_at
    usual: dict[int, float]  # counts a day by meter, where there is a history
    prizes: list[tuple[Prize, int]]  # what should be inside, piece by piece
    settings: CurrentSettings
    faults: list[Fault]
    carried: rules.Reckoning
    last_visit: datetime | None
    by_card: bool  # plays paid by card are on its meter, too

    @property
    def has_prizes_meter(self) -> bool:
        return any(meter.counts == Counts.PRIZES_OUT for meter in self.meters)

    @property
    def fill(self) -> int:
        return sum(pieces for _, pieces in self.prizes)


@dataclass(frozen=True)
class Sheet:
    location: Location
    cabinets: list[CabinetSheet]
    places: list[Place]  # where prizes can be taken from, the person's own van first
    mixes: list[Mix]
    prizes: list[Prize]


def sheet(
    location: Location, person: Any, at: datetime, besides: Iterable[int] = (), amends: Document | None = None
) -> Sheet:
    """The page of one stop at a moment: the cabinets standing there, and those in `besides`, in constant queries.

    What was read and emptied before that moment counts, so that a correction is measured as the visit was; and what
    the visit it `amends` named has its line, though it has run out, was fixed or went out of use since.
    """
    standing = Machine.objects.filter(placements__location=location, placements__ended_at=None)
    machines = list((standing | Machine.objects.filter(pk__in=besides)).select_related("model").distinct())
    places = sorted(stock.carrying_places(), key=lambda place: (place.person_id != person.pk, place.kind, place.name))
    prizes = list(stock.prizes_in_use())
    found = Sheet(location, _cabinets(machines, at), places, list(stock.mixes_in_use()), prizes)
    return _with_named(found, amends) if amends else found


def _with_named(found: Sheet, amends: Document) -> Sheet:
    parts = {part.machine: part for part in amends.entries}
    goods = Prize.objects.in_bulk({one.prize for part in amends.entries for one in part.pieces()})
    fixed = _by_machine(Fault.objects.filter(uuid__in=[fix.fault for part in amends.entries for fix in part.fixed]))
    mixes = {one.mix for part in amends.entries for one in part.mixes} - {mix.pk for mix in found.mixes}
    cabinets = [
        _with_part(one, parts[one.machine.pk], goods, fixed) if one.machine.pk in parts else one
        for one in found.cabinets
    ]
    return replace(found, cabinets=cabinets, mixes=[*found.mixes, *stock.mixes(mixes)])


def _with_part(cabinet: CabinetSheet, part: EntryPart, goods: dict[int, Prize], fixed: dict[int, list]) -> CabinetSheet:
    gone = {one.prize for one in part.pieces()} - {prize.pk for prize, _ in cabinet.prizes}
    faults = [fault for fault in fixed[cabinet.machine.pk] if fault not in cabinet.faults]
    prizes = [(goods[pk], 0) for pk in sorted(gone)]
    return replace(cabinet, prizes=cabinet.prizes + prizes, faults=cabinet.faults + faults)


def _cabinets(machines: list[Machine], at: datetime) -> list[CabinetSheet]:
    ids = [machine.pk for machine in machines]
    meters = _by_machine(queries_meters.meters_in_use(ids, at))
    open_faults = _by_machine(faults.open_faults().filter(machine__in=ids))
    settings, inside, last = cabinets.settings_of(machines), stock.inside(ids), last_visits(ids, at)
    carried, usual = queries.carried(ids, at), queries_meters.usual_rates(ids, at)
    readers = {machine for machine, stays in with_readers(ids).items() if any(until is None for _, until in stays)}
    return [
        CabinetSheet(
            machine=machine,
            meters=meters[machine.pk],
            usual=usual,
            prizes=inside[machine.pk],
            settings=settings[machine.pk],
            faults=open_faults[machine.pk],
            carried=_carried(carried.get(machine.pk, rules.Reckoning({})), machine.pk in readers),
            last_visit=last.get(machine.pk),
            by_card=machine.pk in readers,
        )
        for machine in machines
    ]


def _carried(told: rules.Reckoning, by_card: bool) -> rules.Reckoning:
    """What the box should hold is not known at the stop where some play by card: the statement comes later."""
    return replace(told, expected=None) if by_card else told


def _by_machine(rows: QuerySet) -> dict[int, list]:
    found: dict[int, list] = defaultdict(list)
    for row in rows:
        found[row.machine_id].append(row)
    return found


def last_visits(machine_ids: list[int], before: datetime) -> dict[int, datetime | None]:
    newest = (
        ServiceEntry.objects.filter(machine=OuterRef("pk"), withdrawn_at=None, at__lt=before)
        .order_by("-at")
        .values("at")
    )
    return dict(Machine.objects.filter(pk__in=machine_ids).values_list("pk", Subquery(newest[:1])))
