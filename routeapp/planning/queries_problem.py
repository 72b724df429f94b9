"""The problem a plan solves, put together from who drives when and what locations need."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import partial
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef

from locations.placements.models import Placement
from locations.sites.models import Location
from routeapp.planning import queries_crew, queries_driven, queries_due, queries_travel, rules_habit
from routeapp.planning.models_rounds import Driver, Pin, RoundStop, Wish
from routeapp.planning.queries_driven import Driven
from routeapp.planning.queries_forecast import Outlook
from routeapp.planning.queries_needs import Need, needs, standing_at, worth
from routeapp.planning.queries_outlook import outlook
from routeapp.planning.rules_bear import bearing
from routeapp.planning.rules_drive import Ways, follow, ways
from routeapp.planning.rules_plan import Pin as Fixed
from routeapp.planning.rules_plan import Place, Plan, Point, Problem, Travel, Window, Worker
from routeapp.planning.rules_service import Work
from routeapp.planning.rules_travel import Named

DAY = 24 * 60
ALL_DAY: tuple[Window, ...] = ((0, DAY),)
HOURS_UNKNOWN = "Nobody wrote down when it is open: the plan takes any time."


@dataclass(frozen=True)
class Asked:
    """A problem and what belongs to it: needs by location id, past visits, and what to say about the whole."""

    problem: Problem
    needs: dict[int, Need]
    locations: dict[int, Location]
    past: list[Driven]
    remarks: list[str]


def with_cabinets() -> list[Location]:
    """The locations where cabinets stand, with their hours."""
    stands = Placement.objects.filter(location=OuterRef("pk"), ended_at=None)
    return list(Location.objects.filter(Exists(stands), closed_on=None).prefetch_related("opening_hours"))


@dataclass(frozen=True)
class Kept:
    """What a plan knew of a stop: good enough for another order of the same stops on the same day."""

    need: Need
    minutes: int
    value: int


def kept(stops: Iterable[RoundStop]) -> dict[int, Kept]:
    """By location id, off the stops of a version. Those for which nothing was forecast tell nothing."""
    return {
        stop.location_id: Kept(
            Need(stop.reasons, expected={int(pk): each for pk, each in stop.expected.items()}),
            stop.minutes,
            stop.value_cents,
        )
        for stop in stops
        if stop.expected
    }


def asked(
    drivers: Sequence[Driver],
    days: Sequence[date],
    now: datetime,
    zone: str,
    locations: Iterable[Location],
    before: Mapping[int, Kept] | None = None,
) -> Asked:
    """What is to be planned for these people over these days; `zone` is the clock of their shifts.

    Where a version knew all of these places (`before`), nothing is forecast anew: dragging a stop takes no time.
    What people said meanwhile, as promises, pins and things to do, is asked for in any case.
    """
    known = {one.pk: one for one in locations}
    past = queries_driven.driven(now)
    if before is not None and known.keys() <= before.keys():
        by = queries_due.last_days(known, now)
        needed = {pk: replace(before[pk].need, by=by.get(pk)) for pk in known}
        minutes = {pk: before[pk].minutes for pk in known}
        priced = partial(_as_before, before=before, days=days)
    else:
        seen, pace = outlook(now), queries_driven.pace(past)
        needed = needs(seen, known, now, zone)
        minutes = {pk: pace.minutes(needed.get(pk, Need()).work, pk) for pk in known}
        priced = partial(_valued, known=known, seen=seen, past=past, days=days, now=now, zone=zone)
    pins = {pin.location_id: pin for pin in queries_crew.pins(days[0]).filter(location__in=known)}
    places = tuple(
        _place(one, needed.get(pk, Need()), minutes[pk], days, zone, pins.get(pk)) for pk, one in known.items()
    )
    workers = _workers(drivers, days)
    ways, said = queries_travel.travel(_points(places, workers), queries_driven.legs(past))
    return Asked(priced(Problem(places, workers, ways)), needed, known, past, [said] if said else [])


def at_once(
    drivers: Sequence[Driver], days: Sequence[date], now: datetime, zone: str, locations: Sequence[Location]
) -> Plan:
    """Driving on as people do, by ways nobody has to be asked for and without a forecast: what a plan begins with. It
    leaves out what people said is not to be visited yet."""
    past = queries_driven.driven(now)
    pace, cabinets = queries_driven.pace(past), standing_at(locations)
    later = set(queries_crew.pins(days[0]).filter(wish=Wish.NOT_BEFORE).values_list("location", flat=True))
    places = []
    for one in (one for one in locations if one.pk not in later):
        many = len(cabinets.get(one.pk, ()))
        places.append(_place(one, Need(), pace.minutes(Work(many, many), one.pk), days, zone, None))
    legs = queries_travel.own_legs(_points(places, workers := _workers(drivers, days)), {}, queries_driven.legs(past))
    return as_today(Problem(tuple(places), workers, Travel(legs=legs)), past)


def _workers(drivers: Sequence[Driver], days: Sequence[date]) -> tuple[Worker, ...]:
    return tuple(worker for driver in drivers for day in days if (worker := worker_of(driver, day)))


def _points(places: Iterable[Place], workers: Iterable[Worker]) -> list[Named]:
    ends = {point for worker in workers for point in (worker.start, worker.end) if point}
    return [
        *((place.lat, place.lon, place.id) for place in places),
        *((one.lat, one.lon, one.key) for one in sorted(ends, key=lambda one: str(one.key))),
    ]


def _as_before(problem: Problem, *, before: Mapping[int, Kept], days: Sequence[date]) -> Problem:
    places = (replace(one, value=dict.fromkeys(days, before[one.id].value)) for one in problem.places)
    return replace(problem, places=tuple(places))


def _valued(
    problem: Problem,
    *,
    known: Mapping[int, Location],
    seen: Outlook,
    past: list[Driven],
    days: Sequence[date],
    now: datetime,
    zone: str,
) -> Problem:
    """The problem with what a visit is worth at each place, by what the rounds that people drive cost it: those of
    today, and those of the last weeks."""
    driven = _whole_week(problem, known, days[0], zone)
    weeks = rules_habit.weeks_before(queries_driven.been_by_place(past), [worker.key for worker in driven.workers])
    table = ways(driven)
    plans = [as_today(driven, past, table), *(follow(driven, week, table) for week in weeks)]
    found = worth(seen, bearing(driven, plans, table=table), days, now, zone)
    return replace(problem, places=tuple(replace(one, value=found.get(one.id, {})) for one in problem.places))


def _whole_week(problem: Problem, known: Mapping[int, Location], first: date, zone: str) -> Problem:
    """The same places with everybody who drives from that day on: to a place that others reach, or on other days, a
    visit costs no way of its own."""
    week = [first + timedelta(number) for number in range(7)]
    places = tuple(replace(one, windows=windows(known[one.id], week, zone)) for one in problem.places)
    return replace(problem, places=places, workers=_workers(queries_crew.drivers(), week) or problem.workers)


def as_today(problem: Problem, past: list[Driven], table: Ways | None = None) -> Plan:
    """What driving on as people do today would come to over the same days."""
    known = {place.id for place in problem.places}
    habits = {pk: habit for pk, habit in queries_driven.habits(past).items() if pk in known}
    return follow(problem, rules_habit.orders(habits, [worker.key for worker in problem.workers]), table)


def _place(location: Location, need: Need, minutes: int, days: Sequence[date], zone: str, pin: Pin | None) -> Place:
    lat, lon = location.latitude, location.longitude
    return Place(
        id=location.pk,
        lat=None if lat is None else float(lat),
        lon=None if lon is None else float(lon),
        windows=windows(location, days, zone),
        service=minutes,
        value={},
        load=need.bring,
        must_by=max(need.by, days[0]) if need.by and need.by <= days[-1] else None,
        not_before=pin.day if pin and pin.wish == Wish.NOT_BEFORE else None,
    )


def windows(location: Location, days: Sequence[date], zone: str) -> dict[date, tuple[Window, ...]]:
    """When a location is open on each day, in minutes by the clock of `zone`; a place that told nothing, always."""
    hours = list(location.opening_hours.all())
    if not hours:
        return dict.fromkeys(days, ALL_DAY)
    return {
        day: tuple(
            (_minute(day, one.opens, location.time_zone, zone), _minute(day, one.closes, location.time_zone, zone))
            for one in hours
            if one.weekday == day.weekday()
        )
        for day in days
    }


def _minute(day: date, at: time, there: str, here: str) -> int:
    """A time of day at a place, in minutes since midnight by another clock."""
    if there == here:
        return at.hour * 60 + at.minute + (at.second > 0)
    moment = datetime.combine(day, at, ZoneInfo(there)).astimezone(ZoneInfo(here)).replace(tzinfo=None)
    return round((moment - datetime.combine(day, time())) / timedelta(minutes=1))


def worker_of(driver: Driver, day: date) -> Worker | None:
    """One person's shift on a day; None when they have none."""
    shift = queries_crew.shift_on(driver, day)
    if shift is None:
        return None
    start = Point(float(driver.start_latitude), float(driver.start_longitude), f"start {driver.pk}")
    end = start
    if driver.end_latitude is not None:
        end = Point(float(driver.end_latitude), float(driver.end_longitude), f"end {driver.pk}")
    hours = (shift.starts.hour * 60 + shift.starts.minute, shift.ends.hour * 60 + shift.ends.minute)
    rates = {
        "cost_per_hour": driver.cents_per_hour,
        "cost_per_km": driver.cents_per_km,
    }
    room = driver.vehicle.pieces if driver.vehicle else None
    return Worker(driver.person_id, day, hours, start, end, capacity=room, **rates)


def in_order(places: Iterable[Place], person: int, day: date, order: Sequence[int]) -> tuple[Place, ...]:
    """The places with those of `order` pinned to one round, in that order."""
    at = {pk: number for number, pk in enumerate(order)}
    return tuple(replace(one, pin=Fixed(day, person, at[one.id])) if one.id in at else one for one in places)


def not_located(asked: Asked) -> list[str]:
    """What no plan can place, in words."""
    lost = [asked.locations[place.id] for place in asked.problem.places if not place.located]
    return [f"{one} has no coordinates, so no plan can place it." for one in lost]
