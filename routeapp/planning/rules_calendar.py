"""Rounds as an iCalendar feed (RFC 5545): one event a round, the same UID for all its versions.

Times are written in UTC, so no reader needs our time zones and none can be wrong about a clock change. A new version
raises SEQUENCE; a dropped round stays in the feed as CANCELLED, so that programs take it out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from icalendar import Calendar, Event

PRODUCT = "-//Keyround//Rounds//EN"


@dataclass(frozen=True)
class Outing:
    """One round as a calendar shows it. `sequence` grows with each version, and once more when it is dropped."""

    uid: str
    sequence: int
    changed_at: datetime
    starts_at: datetime
    ends_at: datetime
    summary: str
    description: str
    url: str
    where: str = ""
    dropped: bool = False


def feed(name: str, outings: Sequence[Outing]) -> bytes:
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", name)  # RFC 7986
    for one in outings:
        calendar.add_component(_event(one))
    return bytes(calendar.to_ical())


def _event(one: Outing) -> Event:
    event = Event()
    event.add("uid", one.uid)
    event.add("sequence", one.sequence)
    event.add("dtstamp", one.changed_at)
    event.add("last-modified", one.changed_at)
    event.add("dtstart", one.starts_at)
    event.add("dtend", max(one.ends_at, one.starts_at))
    event.add("summary", one.summary)
    event.add("description", one.description)
    event.add("url", one.url)
    if one.where:
        event.add("location", one.where)
    event.add("status", "CANCELLED" if one.dropped else "CONFIRMED")
    return event
