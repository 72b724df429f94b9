"""Days, weeks and months as a location's calendar knows them."""

from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from django.utils import timezone


def now() -> datetime:
    """The present moment, aware, in UTC. Read once at the edge and passed down."""
    return timezone.now()


def local_day(moment: datetime, zone: str) -> date:
    """The calendar day of an aware `moment` in the time zone named `zone`."""
    return moment.astimezone(ZoneInfo(zone)).date()


def week_start(day: date) -> date:
    """Monday of the week of `day` (ISO 8601)."""
    return day - timedelta(days=day.weekday())


def month_start(day: date) -> date:
    return day.replace(day=1)


def start_of_day(day: date, zone: str) -> datetime:
    """The first moment of `day` in `zone`, in UTC."""
    return datetime.combine(day, time.min, ZoneInfo(zone)).astimezone(UTC)


SLACK = timedelta(days=1)  # no location's day starts or ends further from the same day in UTC


def anywhere(since: date, until: date) -> tuple[datetime, datetime]:
    """Two moments between which these days, both included, lie in any time zone."""
    return start_of_day(since, "UTC") - SLACK, start_of_day(until, "UTC") + 2 * SLACK


def zone_choices() -> list[tuple[str, Any]]:
    """The zone in use, then all by region for a select, its own region first. Typing finds a city there.

    Region/City names only: the aliases without a region confuse more than they help.
    """
    own = timezone.get_current_timezone_name()
    regions: dict[str, list[tuple[str, str]]] = {own.partition("/")[0]: []}
    for name in sorted(_zones() - {own}):
        region, _, city = name.partition("/")
        regions.setdefault(region, []).append((name, _said(city)))
    first = [(name, _said(name)) for name in dict.fromkeys([own, "UTC"])]
    return [*first, *((region, cities) for region, cities in regions.items() if cities)]


def _said(name: str) -> str:
    return name.replace("_", " ").replace("/", ", ")


@cache
def _zones() -> set[str]:
    return {name for name in available_timezones() if "/" in name and not name.startswith(("Etc/", "SystemV/"))}
