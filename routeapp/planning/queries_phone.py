"""What a phone takes along of a round: its order and its load list. No money: a phone can be lost."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from routeapp.planning.queries_load import load_list
from routeapp.planning.queries_rounds import RoundShown, StopShown
from routeapp.planning.queries_things import Line
from routeapp.team.queries import business


def told(shown: RoundShown, now: datetime) -> dict[str, Any]:
    zone = business().time_zone
    return {
        "id": str(shown.uuid),
        "day": shown.round.day.isoformat(),
        "words": str(shown.round),
        "stops": [_stop(one, zone) for one in shown.stops],
        "load": [_line(one) for one in load_list(shown, now).lines],
    }


def _stop(one: StopShown, zone: str) -> dict[str, Any]:
    return {
        "id": one.location.pk,
        "name": one.location.name,
        "at": f"{one.stop.arrives_at.astimezone(ZoneInfo(zone)):%H:%M}",
        "state": "ahead" if one.is_ahead else one.state,
        "where": [text for text in (", ".join(one.location.address.split("\n")), one.location.access_notes) if text],
        "why": [*one.stop.reasons],
        "geo": one.geo,
        "phones": [[name, phone, f"tel:{call}"] for name, phone, call in one.phones],
        "expect": [
            f"{each['code']}: about {each['prizes']} prizes left"
            for each in one.stop.expected.values()
            if "prizes" in each
        ],
    }


def _line(one: Line) -> dict[str, Any]:
    return {
        "line": one.name,
        "text": one.text,
        "pieces": one.pieces,
        "store": one.store,
        "detail": " · ".join(part for part in (one.detail, one.warning) if part),
        "on": one.is_in,
        "there": not one.can_be_ticked,
    }
