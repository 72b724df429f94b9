"""Drives that visits speak of and that nobody wrote into the mileage log yet."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from routeapp.expenses import queries as expenses
from routeapp.expenses.rules import by_road
from routeapp.kit import clock
from routeapp.visits.models import Visit

LOOK_BACK = timedelta(days=60)


@dataclass(frozen=True)
class Proposal:
    """One person's stops on one day, in order. `tenths` of a mile or kilometre by road from the first to the last;
    None where a place has no coordinates."""

    driver: Any
    day: date
    stops: list[str]
    unplaced: list[str]
    tenths: int | None
    unit: str

    @property
    def distance(self) -> str:
        return "" if self.tenths is None else f"about {self.tenths / 10:,.1f} {self.unit}"

    @property
    def address(self) -> str:
        """What the form of a trip is opened with."""
        said = {"day": self.day, "driver": self.driver.pk, "way": " – ".join(self.stops)[:500], "unit": self.unit}
        return urlencode(said | ({"tenths": self.tenths} if self.tenths else {}))


def proposals(now: datetime, unit: str, driver: Any = None) -> list[Proposal]:
    """The latest day first, of one person or of all."""
    visits = Visit.objects.live().filter(at__gte=now - LOOK_BACK, at__lte=now, void=False)
    visits = visits.filter(made_by=driver) if driver else visits
    days: dict[tuple[Any, date], list[Any]] = defaultdict(list)
    for visit in visits.select_related("location", "made_by").defer("document").order_by("at", "uuid"):
        days[visit.made_by, clock.local_day(visit.at, visit.location.time_zone)].append(visit.location)
    driven = expenses.driven({person.pk for person, _ in days}, (now - LOOK_BACK).date() - timedelta(days=1))
    open_days = [(key, places) for key, places in days.items() if (key[0].pk, key[1]) not in driven]
    found = [_proposal(person, day, places, unit) for (person, day), places in open_days]
    return sorted(found, key=lambda one: (one.day, one.driver.pk), reverse=True)


def _proposal(person: Any, day: date, places: list[Any], unit: str) -> Proposal:
    stops = [place for number, place in enumerate(places) if number == 0 or place != places[number - 1]]
    unplaced = sorted({place.name for place in stops if place.latitude is None})
    points = [(float(place.latitude), float(place.longitude)) for place in stops if place.latitude is not None]
    return Proposal(
        driver=person,
        day=day,
        stops=[place.name for place in stops],
        unplaced=unplaced,
        tenths=None if unplaced else by_road(points, unit),
        unit=unit,
    )
