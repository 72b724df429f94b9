"""What every service entry in a span of days brought, as lines that tables add up and drill-downs list."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.contrib.auth import get_user_model
from django.db.models import Max, Q

from locations.placements.queries import Stay, stays_between
from locations.sites.models import Location
from machines.cabinets.models import Machine
from machines.cabinets.queries_meters import MeterInterval
from routeapp.cash.models import CashMove
from routeapp.cash.queries import TAKE, card_sales, counted_later, take
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_figures import Line
from routeapp.kit import clock
from routeapp.kit.people import called
from routeapp.kit.prepared import Prepared
from routeapp.stock.queries import Won, won_by_document
from routeapp.visits import queries as visits
from routeapp.visits.models import CashTaken


@dataclass(frozen=True)
class Book:
    """A span of days: its lines, oldest first, and the cabinets, locations and stays by id that they speak of."""

    span: Span
    lines: list[Line]
    machines: Mapping[int, Machine]
    locations: Mapping[int, Location]
    stays: Mapping[int, list[Stay]]  # by machine id


def book(span: Span, *, prizes: bool = True) -> Book:
    """Everything that happened in a span of days, in constant queries; `prizes` won are not wanted everywhere."""
    machines = Machine.objects.only("code", "price_cents", "model__name").select_related("model").in_bulk()
    locations = Location.objects.only("name", "time_zone").in_bulk()
    since, until = clock.anywhere(span.since, span.until)
    stays = stays_between(since, until)
    every = [*_lines(list(machines), locations, stays, since, until, prizes)]
    inside = [line for line in every if span.since <= line.day <= span.until]
    return Book(span, sorted(inside, key=lambda line: (line.at, line.machine)), machines, locations, stays)


def lines_of(book: Book, only: Mapping[str, int]) -> list[Line]:
    """The lines that have what `only` says: "machine", "location", "person"."""
    return [line for line in book.lines if all(getattr(line, name) == pk for name, pk in only.items())]


def names_of(people: Iterable[int]) -> dict[int, str]:
    """How people are called, by user id."""
    rows = get_user_model().objects.only("first_name", "last_name", "username").in_bulk(list(people))
    return {pk: called(user) for pk, user in rows.items()}


@dataclass(frozen=True)
class Listed:
    """One line as a drill-down shows it."""

    line: Line
    machine: Machine
    location: Location
    person: str


def listed(book: Book, lines: Iterable[Line]) -> list[Listed]:
    lines = list(lines)
    names = names_of({line.person for line in lines if line.person is not None})
    return [
        Listed(line, book.machines[line.machine], book.locations[line.location], names.get(line.person or 0, ""))
        for line in lines
    ]


def _lines(
    machines: list[int],
    locations: Mapping[int, Location],
    stays: Mapping[int, list[Stay]],
    since: datetime,
    until: datetime,
    prizes: bool,
) -> Iterable[Line]:
    entries = [Entry(*row) for row in _entries(machines, since, until)]
    by_source = visits.intervals_by_source(machines, since, until)
    takes, won = _takes(entries, since, until), won_by_document(machines, since, until) if prizes else {}
    by_entry = {entry: cents for entry, (cents, _) in takes.items()}
    variances = visits.variances_of(visits.reckonings(entries, by_source, by_entry))
    for entry in entries:
        if entry.at >= since:
            won_here = won.pop((entry.pk, entry.machine_id, entry.at), Won())
            yield _line(entry, by_source.get(entry.pk, []), takes.get(entry.pk), won_here, variances, locations)
    stretches = visits.outside_visits(by_source, {entry.pk for entry in entries})
    yield from _outside(stretches, won, locations, stays)
    yield from _by_card(since, until)


class Entry(NamedTuple):
    """What lines are made of a service entry."""

    pk: UUID
    machine_id: int
    at: datetime
    cash: str
    visit_id: UUID
    location_id: int
    person_id: int


ENTRY = ("pk", "machine_id", "at", "cash", "visit_id", "visit__location_id", "visit__made_by_id")
_entries = Prepared(
    lambda *asked: visits.entries_of(*asked).select_related(None).values_list(*ENTRY), list, datetime, datetime
)


def _takes(entries: list[Any], since: datetime, until: datetime) -> dict[UUID, tuple[int, date | None]]:
    """(minor units, day) by service entry that was counted. The day was written down with the money and holds."""
    before = [entry.pk for entry in entries if entry.at < since]
    days = Q(day__gte=(since - clock.SLACK).date(), day__lte=(until + clock.SLACK).date())
    cash = CashMove.objects.filter(days | Q(entry__in=before), entry__isnull=False)
    rows = take(cash).order_by().values_list("entry", "day")
    counted = counted_later([entry.pk for entry in entries if entry.cash == CashTaken.SEALED])
    empty: dict[UUID, tuple[int, date | None]] = dict.fromkeys(counted, (0, None))
    return empty | {entry: (cents, day) for entry, day, cents in rows.annotate(cents=TAKE) if cents}


def _by_card(since: datetime, until: datetime) -> Iterable[Line]:
    """What players paid by card, a line for each cabinet, location and day: no service entry brings it."""
    days = CashMove.objects.filter(day__gte=(since - clock.SLACK).date(), day__lte=(until + clock.SLACK).date())
    rows = card_sales(days).order_by().values_list("machine", "location", "day")
    for machine, location, day, cents, last in rows.annotate(cents=TAKE, last=Max("at")):
        if cents:
            yield Line(machine=machine, location=location, day=day, at=last, take=cents, by_card=cents)


def _line(
    entry: Any,
    intervals: list[MeterInterval],
    taken: tuple[int, date | None] | None,
    won: Won,
    variances: Mapping,
    locations: Mapping[int, Location],
) -> Line:
    location, plays = entry.location_id, visits.plays(intervals)
    read = visits.tells_money(intervals) is not None
    cents, day = taken or (0, None)
    return Line(
        machine=entry.machine_id,
        location=location,
        day=day or clock.local_day(entry.at, locations[location].time_zone),
        at=entry.at,
        visit=entry.visit_id,
        person=entry.person_id,
        take=cents,
        uncounted=entry.cash == CashTaken.SEALED and taken is None,
        plays=plays or 0,
        read=read,
        left_out=read and plays is None,
        questions=tuple(one.interval.question for one in intervals if one.interval.question),
        expected=visits.expected_cents(intervals)[1],
        variance=variances.get(entry.pk),
        reckoned=entry.pk in variances,
        prizes=won.pieces,
        prize_cost=won.cost,
    )


def _outside(
    stretches: Mapping[tuple[int, datetime], list[MeterInterval]],
    won: Mapping[tuple[UUID | None, int, datetime], Won],
    locations: Mapping[int, Location],
    stays: Mapping[int, list[Stay]],
) -> Iterable[Line]:
    """What was read and counted outside visits, while the cabinet stood somewhere."""
    counts: dict[tuple[int, datetime], list[Won]] = defaultdict(list)
    for (_, machine, at), one in won.items():
        counts[machine, at].append(one)
    for machine, at in sorted(stretches.keys() | counts.keys()):
        stay = next((stay for stay in stays.get(machine, ()) if stay.covers_end_of(at)), None)
        if stay is None:
            continue
        intervals, parts = stretches.get((machine, at), []), counts[machine, at]
        plays, read = visits.plays(intervals), visits.tells_money(intervals) is not None
        yield Line(
            machine=machine,
            location=stay.location,
            day=clock.local_day(at, locations[stay.location].time_zone),
            at=at,
            plays=plays or 0,
            read=read,
            left_out=read and plays is None,
            expected=visits.expected_cents(intervals)[1],
            prizes=sum(one.pieces for one in parts),
            prize_cost=sum(one.cost for one in parts),
        )
