"""What a calendar program is told of somebody's rounds."""

from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from django.conf import settings
from django.urls import reverse

from routeapp.kit import clock
from routeapp.kit.people import called
from routeapp.planning import queries_crew, queries_rounds
from routeapp.planning.models_rounds import CalendarLink, Round
from routeapp.planning.queries_rounds import RoundShown
from routeapp.planning.rules_calendar import Outing, feed

KEPT = timedelta(days=60)  # so long a past or dropped round stays in the feed


def links(person: Any = None) -> list[tuple[Any, CalendarLink | None]]:
    """Whose rounds can be followed, with the address that works now: of everybody, or of one person."""
    people = list(queries_crew.people())
    live = {link.person_id: link for link in CalendarLink.objects.filter(revoked_at=None).select_related("person")}
    return [(one, live.get(one.pk)) for one in people if person is None or one == person]


def link_of(token: str) -> CalendarLink | None:
    return CalendarLink.objects.filter(token=token[:60], revoked_at=None, person__is_active=True).first()


def address(link: CalendarLink) -> str:
    return f"{settings.PUBLIC_URL}{reverse('calendar-feed', args=[link.token])}"


def feed_of(link: CalendarLink, now: datetime, zone: str) -> bytes:
    """The feed. It holds where and when, and no money: whoever has the address can read it."""
    since = clock.local_day(now, zone) - KEPT
    found = Round.objects.filter(person=link.person_id, day__gte=since).select_related("person__driver")
    name = f"Rounds of {called(link.person)}"
    return feed(name, [_outing(one, zone) for one in queries_rounds.shown(list(found))])


def _outing(one: RoundShown, zone: str) -> Outing:
    host = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    dropped = one.round.dropped_at
    stops = [f"{each.stop.arrives_at.astimezone(ZoneInfo(zone)):%H:%M} {each.location}" for each in one.stops]
    return Outing(
        uid=f"{one.uuid}@{host}",
        sequence=one.plan.number - 1 + (dropped is not None),
        changed_at=max(one.plan.at, dropped) if dropped else one.plan.at,
        starts_at=one.plan.starts_at,
        ends_at=one.plan.ends_at,
        summary=f"Round, {one.number} stop{'' if one.number == 1 else 's'}",
        description="\n".join(stops),
        url=f"{settings.PUBLIC_URL}{reverse('round', args=[one.uuid])}",
        where=one.stops[0].location.address.replace("\n", ", ") if one.stops else "",
        dropped=dropped is not None,
    )
