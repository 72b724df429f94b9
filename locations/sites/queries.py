"""Reads about locations: lists, and when they are open."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Count, Q, QuerySet

from locations.sites import rules
from locations.sites.models import Location, Weekday
from locations.sites.rules import Stretch
from routeapp.kit.tables import matching


def locations(text: str = "", *, closed: bool = False) -> QuerySet:
    """Locations by name with their host and `cabinets`, the number that stand there now.

    Every word of `text` is in the name, the address or the host's name. Closed locations only when asked for.
    """
    standing = Count("placements", filter=Q(placements__ended_at=None))
    found = Location.objects.filter(closed_on__isnull=not closed).select_related("host").annotate(cabinets=standing)
    return matching(found, text, ("name", "address", "host__name")).order_by("name", "pk")


def stretches(location: Location) -> dict[int, list[Stretch]]:
    """Opening hours by weekday; a location without any has not told us."""
    hours: dict[int, list[Stretch]] = defaultdict(list)
    for row in location.opening_hours.all():
        hours[row.weekday].append((row.opens, row.closes))
    return hours


@dataclass(frozen=True)
class Day:
    name: str
    hours: str


def hours_by_day(location: Location) -> list[Day]:
    """The week in words, Monday first; empty while the hours are not known."""
    hours = stretches(location)
    return [Day(day.label, rules.in_words(hours.get(day.value, []))) for day in Weekday] if hours else []


def open_now(location: Location, at: datetime) -> bool | None:
    """Whether the location is open at a moment, by its own clock; None while the hours are not known."""
    hours = stretches(location)
    return rules.is_open(hours, at.astimezone(ZoneInfo(location.time_zone))) if hours else None
