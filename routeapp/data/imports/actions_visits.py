"""Past visits from the rows of a sheet, by the same action as new ones. Only actions_bring.py calls this."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time
from typing import Any
from uuid import UUID, uuid4, uuid5
from zoneinfo import ZoneInfo

from django.db import transaction

from locations.placements.models import Placement
from locations.sites.models import Location
from machines.cabinets.actions_meter_changes import NewMeter, add_meter
from machines.cabinets.models import Counts, Machine, Meter
from machines.cabinets.rules import Shown, interval
from routeapp.cash.actions_deposits import deposit
from routeapp.cash.models import Bag
from routeapp.data.imports.actions_run import Run
from routeapp.data.imports.actions_things import location_name
from routeapp.data.imports.models import Noun
from routeapp.data.imports.rules_lines import Line
from routeapp.data.imports.rules_meanings import METERS
from routeapp.data.imports.rules_names import code_of
from routeapp.data.imports.rules_plan import fact_id
from routeapp.kit.errors import Refused
from routeapp.visits.actions import record_visit, record_visits
from routeapp.visits.models import ServiceEntry, Visit
from routeapp.visits.rules_document import Document, read

NOON = time(12)  # when a sheet tells only the day
TOGETHER = 500  # ids asked for at once
FIRST_DIGITS, MOST_DIGITS = 6, 9


@dataclass(slots=True)
class Stop:
    """A line with the cabinet, location and moment it is about, and the id its service entry gets."""

    line: Line
    machine: Machine
    location: Location
    at: datetime
    uuid: UUID


@dataclass(frozen=True, slots=True)
class Paper:
    """A visit document and the first of the lines that it was made from."""

    line: Line
    document: Document


def write_visits(run: Run, lines: Sequence[Line], progress: Callable[[int, int], None]) -> None:
    """Record what lines say of past visits; cabinets of one location at one moment make one visit."""
    stops = _new_ones(run, _without_twins(run, list(_stops(run, lines))))
    meters = _meters(run, stops)
    by_visit: dict[tuple, list[Stop]] = defaultdict(list)
    for stop in stops:
        by_visit[stop.at, stop.location.pk].append(stop)
    bags: dict[UUID, datetime] = {}
    keys = sorted(by_visit)
    for start in range(0, len(keys), TOGETHER):
        papers = [_paper(run, by_visit[key], meters) for key in keys[start : start + TOGETHER]]
        _record(run, papers)
        bags |= {paper.document.loose_bag.id: paper.document.arrived_at for paper in papers if paper.document.loose_bag}
        progress(start + len(papers), len(keys))
    _bank(run, bags)


def _record(run: Run, papers: Sequence[Paper]) -> None:
    """Many at once; where one of them is refused, one by one, to name its row."""
    try:
        with transaction.atomic():
            record_visits(documents=[paper.document for paper in papers], by=run.by, at=run.at)
            recorded = list(papers)
    except Refused:
        recorded = []
        for paper in papers:
            with run.row(paper.line):
                record_visit(document=paper.document, photos={}, by=run.by, at=run.at)
                recorded.append(paper)
    for paper in recorded:
        run.remember(Noun.VISIT, paper.document.id)


def _stops(run: Run, lines: Sequence[Line]) -> Iterator[Stop]:
    stood = _standings(run)
    for line in lines:
        machine = run.machines.get(code_of(line.get("code")))
        if machine is None:
            continue  # its row was refused
        day, said = line.get("visited_on"), line.get("visited_at")
        location = run.locations.get(location_name(run, line).casefold()) if line.get("location") else None
        at = None if location is None else _moment(day, said, location)
        if location is None:
            location, at = _where(stood[machine.pk], day, said)
        if location is None or at is None:
            place = "Add a column for the location, or bring the placements first."
            run.problems.append(line.problem(f"Nobody knows where {machine} stood on {day.day:%-d %b %Y}. {place}"))
        elif at > run.at:
            run.problems.append(line.problem(f"{day.day:%-d %b %Y} is still to come."))
        else:
            yield Stop(line, machine, location, at, fact_id("entry", machine.pk, at.isoformat()))


def _standings(run: Run) -> dict[int, list[Placement]]:
    found: dict[int, list[Placement]] = defaultdict(list)
    rows = Placement.objects.filter(machine__in=run.machines.values()).select_related("location")
    for placement in rows.order_by("started_at"):
        found[placement.machine_id].append(placement)
    return found


def _where(placements: list[Placement], day: Any, said: time | None) -> tuple[Location | None, datetime | None]:
    for placement in placements:
        at = _moment(day, said, placement.location)
        if placement.started_at <= at and (placement.ended_at is None or at <= placement.ended_at):
            return placement.location, at
    return None, None


def _moment(day: Any, said: time | None, location: Location) -> datetime:
    local = datetime.combine(day.day, said or day.clock or NOON, ZoneInfo(location.time_zone))
    return local.astimezone(UTC)


def _without_twins(run: Run, stops: list[Stop]) -> list[Stop]:
    """A cabinet twice at one moment: nobody can tell which row is meant."""
    first: dict[UUID, Stop] = {}
    for stop in stops:
        twin = first.setdefault(stop.uuid, stop)
        if twin is not stop:
            said = f"{stop.machine} stands there twice for this day, in row {twin.line.row} too."
            run.problems.append(stop.line.problem(f"{said} Put both into one row, or write the times beside them."))
    return list(first.values())


def _new_ones(run: Run, stops: list[Stop]) -> list[Stop]:
    """Those that the books do not have yet. What was brought and taken back before comes again under the next id."""
    found, asked, turn = [], stops, 0
    while asked:
        entries = _entries([stop.uuid for stop in asked])
        undone = _undone([entry.visit_id for entry in entries.values() if entry.withdrawn_at])
        found += [stop for stop in asked if stop.uuid not in entries]
        again = []
        for stop in (stop for stop in asked if stop.uuid in entries):
            entry = entries[stop.uuid]
            if entry.visit_id in undone:
                again.append(stop)
            else:
                _meet(run, stop, entry)
        asked, turn = again, turn + 1
        for stop in asked:
            stop.uuid = fact_id("entry", stop.machine.pk, stop.at.isoformat(), turn=turn)
    return found


def _entries(ids: list[UUID]) -> dict[UUID, ServiceEntry]:
    found: dict[UUID, ServiceEntry] = {}
    for start in range(0, len(ids), TOGETHER):
        found |= ServiceEntry.objects.in_bulk(ids[start : start + TOGETHER])
    return found


def _undone(visits: list[UUID]) -> set[UUID]:
    found: set[UUID] = set()
    for start in range(0, len(visits), TOGETHER):
        voids = Visit.objects.filter(replaces__in=visits[start : start + TOGETHER], void=True)
        found |= set(voids.values_list("replaces", flat=True))
    return found


def _meet(run: Run, stop: Stop, entry: ServiceEntry) -> None:
    """The books have it: the same is skipped, a correction made since stands, another sum has to be decided on."""
    cents = stop.line.get("cash")
    if entry.withdrawn_at is None and entry.cents != cents:
        run.problems.append(
            stop.line.problem(
                f"The books have another sum for {stop.machine} on that day, from an earlier file. "
                "Correct that visit, or take the earlier import back first."
            )
        )
    else:
        run.meet(Noun.VISIT, entry.visit_id)


def _meters(run: Run, stops: list[Stop]) -> dict[tuple[int, str], Meter]:
    """The meter of each sort in use on each cabinet; one that is missing is fitted when the sheet first reads it."""
    rows = Meter.objects.filter(machine__in=run.machines.values(), removed_at=None).select_related("machine")
    meters = {(meter.machine_id, str(meter.counts)): meter for meter in rows}
    shown: dict[tuple[int, str], list[Stop]] = defaultdict(list)
    for stop in stops:
        for sort in METERS:
            if stop.line.get(sort) is not None:
                shown[stop.machine.pk, sort].append(stop)
    for key, read_at in shown.items():
        read_at.sort(key=lambda stop: stop.at)
        if key not in meters:
            with run.row(read_at[0].line):
                meters[key] = _fit(run, key[1], read_at)
        if key in meters:
            _remark_on(run, meters[key], read_at)
    return meters


def _fit(run: Run, sort: str, read_at: list[Stop]) -> Meter:
    values = [stop.line.get(sort) for stop in read_at]
    if sort == Counts.MONEY_IN and not run.plan.count_cents:
        raise Refused("Say below how much money one count of the money meters stands for.")
    digits = min(MOST_DIGITS, max(FIRST_DIGITS, len(str(max(values)))))
    new = NewMeter(sort, digits, values[0], run.plan.count_cents or 0)
    return add_meter(machine=read_at[0].machine, new=new, by=run.by, at=read_at[0].at, received_at=run.at)


def _remark_on(run: Run, meter: Meter, read_at: list[Stop]) -> None:
    """Readings that go backwards are kept, and asked about on the pages until somebody explains them."""
    for before, stop in zip(read_at, read_at[1:], strict=False):
        was, now = before.line.get(meter.counts), stop.line.get(meter.counts)
        if now < was:
            found = interval(Shown(0, before.at, was), Shown(1, stop.at, now), meter.digits)
            if found.question:
                run.remarks.append(stop.line.problem(f"{stop.machine}: {found.question} It is kept, and asked about."))


def _paper(run: Run, stops: list[Stop], meters: dict[tuple[int, str], Meter]) -> Paper:
    """The visit document: the same as a phone would send for this stop."""
    first, at = stops[0], stops[0].at.isoformat()
    visit = uuid5(min(stop.uuid for stop in stops), "visit")
    money = any(stop.line.get("cash") for stop in stops)
    whose = run.sheet_import.pk if run.sheet_import else visit
    bag = {"id": uuid5(whose, f"{first.location.pk} {first.at.year}"), "number": f"{first.at.year}, brought in"}
    said = {
        "id": visit,
        "location": first.location.pk,
        "arrived_at": at,
        "departed_at": at,
        "loose_bag": bag if money else None,
        "entries": [_entry(stop, meters) for stop in stops],
    }
    return Paper(first.line, read(said))


def _entry(stop: Stop, meters: dict[tuple[int, str], Meter]) -> dict[str, Any]:
    line, cents = stop.line, stop.line.get("cash")
    read_meters = [sort for sort in METERS if line.get(sort) is not None and (stop.machine.pk, sort) in meters]
    return {
        "id": stop.uuid,
        "machine": stop.machine.pk,
        "readings": [{"meter": meters[stop.machine.pk, sort].pk, "value": line.get(sort)} for sort in read_meters],
        "cash": {} if cents is None else {"taken": "counted", "how": "amount", "cents": cents},
        "note": line.get("note") or "",
    }


def _bank(run: Run, bags: dict[UUID, datetime]) -> None:
    """Past money is at the bank, unless the person said otherwise: one bag a location and year, with its last visit."""
    for uuid, at in bags.items():
        bag = Bag.objects.get(uuid=uuid)
        run.remember(Noun.BAG, bag.pk)
        if run.plan.banked:
            deposit(uuid=uuid4(), bags=[bag], by=run.by, at=at, received_at=run.at)
