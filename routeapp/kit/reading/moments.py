"""Moments in a statement: a day and a time of day, perhaps in two columns, in a time zone that somebody named."""

import re
from datetime import UTC, datetime, time, tzinfo
from typing import Any

from routeapp.kit.reading import cells
from routeapp.kit.reading.cells import FIRST_YEAR, LAST_YEAR

NOON = time(12)  # of rows that say only a day
DAY_ONLY = len("2026-03-31")
SECONDS = re.compile(r"\d{1,2}[:.]\d{2}[:.](\d{2})(?!\d)")
OFFSET = re.compile(r"\d\s*(Z|UTC|GMT)$", re.IGNORECASE)


def moment(day: Any, time_of_day: Any, zone: tzinfo, order: str = "") -> datetime | None:
    """The aware moment of two cells; None where there is no day.

    One with an offset of its own keeps it; the hour that comes twice in autumn is the first of the two. A row without
    a time of day is at noon. Raises ValueError with a sentence.
    """
    if isinstance(day, str) and len(day) > DAY_ONLY and (found := _iso(day.strip())):
        return found.replace(tzinfo=found.tzinfo or zone).astimezone(UTC)
    said = cells.when(day, order)
    if said is None:
        return None
    spoken = time_of_day if time_of_day not in (None, "") else day
    clock = (cells.clock(time_of_day) if spoken is time_of_day else said.clock) or _with_zone(day)
    if clock is None and spoken is time_of_day:
        raise ValueError(f"“{str(time_of_day)[:40]}” is not a time of day. Write it like 14:05.")
    clock = clock or NOON
    if isinstance(spoken, str) and (seconds := SECONDS.search(spoken)) and int(seconds[1]) < 60:
        clock = clock.replace(second=int(seconds[1]))
    own = UTC if isinstance(day, str) and OFFSET.search(day) else zone
    return datetime.combine(said.day, clock.replace(tzinfo=None), own).astimezone(UTC)


def _with_zone(day: Any) -> time | None:
    """The clock before “UTC” or “GMT”."""
    return cells.clock(OFFSET.sub(lambda found: found[0][0], day)) if isinstance(day, str) else None


def _iso(said: str) -> datetime | None:
    """What is written by ISO 8601, which machines mostly write, at a tenth of the cost of reading anything else."""
    try:
        found = datetime.fromisoformat(said)
    except ValueError:
        return None
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise ValueError(f"“{said[:40]}” lies outside the years {FIRST_YEAR} to {LAST_YEAR}.")
    return found
