"""What people's days on the road cost: their visits, the ways between, and what an hour and a kilometre cost them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

from locations.sites.models import Location
from routeapp.earnings.rules_profit import Amount, Part
from routeapp.earnings.rules_trips import Borne, Leg, Stop, Trip, borne
from routeapp.kit import clock
from routeapp.planning.models_rounds import Driver, DrivingCost
from routeapp.planning.rules_plan import Travel
from routeapp.planning.rules_travel import matrices
from routeapp.visits import rules
from routeapp.visits.models import Visit

START, END = "start", "end"


def trips(machines: Mapping[UUID, Sequence[int]], since: datetime, until: datetime) -> Iterator[Amount]:
    """What each visit between two moments bears of its person's day; `machines` are the cabinets serviced by visit.

    Only the days of people with a cost of an hour or kilometre are reckoned: others cost nothing here.
    """
    drivers = list(Driver.objects.select_related("vehicle", "person").prefetch_related("past_costs"))
    if not drivers:
        return
    days = _days({driver.person_id for driver in drivers}, machines, since, until)
    places = Location.objects.filter(pk__in={stop.location for stops in days.values() for stop in stops})
    at = {pk: (lat, lon) for pk, lat, lon in places.values_list("pk", "latitude", "longitude")}
    for driver in drivers:
        own = [stops for (person, _), stops in days.items() if person == driver.person_id]
        for stops, legs in zip(own, _legs(driver, own, at), strict=True):
            held = _costs_on(driver, stops[0].day)
            trip = Trip(stops, legs, held.cents_per_hour, held.cents_per_km)
            yield from (_amount(one, str(driver)) for one in borne(trip))


def _costs_on(driver: Driver, day: date) -> Driver | DrivingCost:
    """What holds the costs of a driver on a day: the past until they changed, then the driver."""
    return next((past for past in driver.past_costs.all() if day < past.before), driver)


def _days(
    people: Iterable[int], machines: Mapping[UUID, Sequence[int]], since: datetime, until: datetime
) -> dict[tuple[int, date], list[Stop]]:
    """The stops of each person and day, in order."""
    found: dict[tuple[int, date], list[Stop]] = defaultdict(list)
    rows = Visit.objects.live().filter(void=False, at__gte=since, at__lt=until, made_by__in=list(people))
    wanted = ("pk", "made_by", "at", "departed_at", "location", "location__time_zone")
    for pk, person, at, departed, location, zone in rows.order_by("at", "pk").values_list(*wanted):
        day = clock.local_day(at, zone)
        stay = rules.left(at, departed) - at
        stop = Stop(pk, location, day, int(stay.total_seconds()), machines.get(pk, ()))
        found[person, day].append(stop)
    return found


def _legs(driver: Driver, days: Sequence[Sequence[Stop]], at: Mapping[int, Any]) -> Iterator[list[Leg]]:
    """The ways of each day, as rounds estimate them: from the start by the stops to the end."""
    keys: list[Any] = [START, END, *sorted({stop.location for stops in days for stop in stops})]
    start = (driver.start_latitude, driver.start_longitude)
    end = start if driver.end_latitude is None else (driver.end_latitude, driver.end_longitude)
    points = [(*_floats({START: start, END: end}.get(key) or at[key]), key) for key in keys]
    metres, seconds = matrices(points, Travel())
    place = {key: number for number, key in enumerate(keys)}
    for stops in days:
        way = [place[key] for key in (START, *(stop.location for stop in stops), END)]
        yield [Leg(int(metres[a, b]), int(seconds[a, b])) for a, b in zip(way, way[1:], strict=False)]


def _floats(point: tuple[Any, Any]) -> tuple[float | None, float | None]:
    lat, lon = point
    return (None, None) if lat is None or lon is None else (float(lat), float(lon))


def _amount(one: Borne, name: str) -> Amount:
    what = f"{one.metres / 1000:,.1f} km and {one.stop.seconds // 60} minutes there, of {name}'s day"
    stop = one.stop
    return Amount(Part.TRIPS, one.machine, stop.location, stop.day, -one.cents, what, ("visit", str(stop.visit)))
