"""Where cabinets stood, in the order in which it happened. Only actions_bring.py calls this."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.db.models import Q

from locations.placements.models import Placement
from machines.cabinets.models import Status
from routeapp.data.imports.actions_run import Run, Stay
from routeapp.data.imports.actions_things import location_name
from routeapp.data.imports.models import Noun
from routeapp.data.imports.rules_lines import Line
from routeapp.data.imports.rules_plan import fact_id
from routeapp.kit import clock
from routeapp.visits.actions_assign import assign, take_away


def add_stays_from_visits(run: Run, visits: Iterable[tuple[str, Line]]) -> None:
    """Cabinets that nothing else says a place of stood where they were visited, from the first visit there on.

    `visits` are lines by the cabinet's code.
    """
    placed = {stay.machine.code for stay in run.stays}
    placed |= set(Placement.objects.filter(machine__in=run.machines.values()).values_list("machine__code", flat=True))
    by_code: dict[str, list[Line]] = defaultdict(list)
    for code, line in visits:
        if code not in placed and line.get("location"):
            by_code[code].append(line)
    for code, lines in by_code.items():
        lines.sort(key=lambda line: line.get("visited_on").day)
        for before, line in zip([None, *lines], lines, strict=False):
            name = location_name(run, line).casefold()
            if before is None or location_name(run, before).casefold() != name:
                day = line.get("visited_on").day
                run.stays.append(Stay(run.machines[code], run.locations[name], day, None, line))


def write_stays(run: Run) -> None:
    by_machine: dict[int, list[Stay]] = defaultdict(list)
    for stay in run.stays:
        by_machine[stay.machine.pk].append(stay)
    for stays in by_machine.values():
        stays.sort(key=lambda stay: stay.start or date.max)
        for stay, following in zip(stays, [*stays[1:], None], strict=True):
            with run.row(stay.line):
                _write(run, stay, following)


def _write(run: Run, stay: Stay, following: Stay | None) -> None:
    start = clock.start_of_day(stay.start, stay.location.time_zone) if stay.start else run.at
    if there := _there(stay, start):
        if not (there.ended_at and run.was_retired(Noun.PLACEMENT, there)):
            run.meet(Noun.PLACEMENT, there.pk)
            return
        start = run.at  # it was taken away when the import was taken back, and comes again now
    said = (stay.machine.pk, stay.location.pk, stay.start)
    turns = (fact_id("placement", *said, turn=turn) for turn in range(1000))
    uuid = next(one for one in turns if not Placement.objects.filter(uuid=one).exists())
    facts = {"by": run.by, "received_at": run.at}
    placement = assign(uuid=uuid, machine=stay.machine, location=stay.location, at=start, **facts)
    run.remember(Noun.PLACEMENT, placement.pk)
    if end := _end(run, stay, following):
        take_away(placement=placement, next_status=Status.SPARE, at=end, **facts)
    stay.machine.refresh_from_db(fields=["status"])


def _there(stay: Stay, start: datetime) -> Placement | None:
    """The placement by which the books have the cabinet there at that moment."""
    there = Placement.objects.filter(machine=stay.machine, location=stay.location, started_at__lte=start)
    return there.filter(Q(ended_at=None) | Q(ended_at__gt=start)).first()


def _end(run: Run, stay: Stay, following: Stay | None) -> datetime | None:
    """The end of the day it was taken away; when it came to the next place that day or no end is said, that moment."""
    arrives = following and (following.start or clock.local_day(run.at, stay.location.time_zone))
    if stay.end is None:
        return clock.start_of_day(arrives, stay.location.time_zone) if arrives else None
    after = min(stay.end, arrives - timedelta(days=1)) if arrives and arrives <= stay.end else stay.end
    return min(run.at, clock.start_of_day(after + timedelta(days=1), stay.location.time_zone))
