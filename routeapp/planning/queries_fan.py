"""Prizes in one cabinet: down from each load to the next visit, and the fan of what is to be expected."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
from django.db.models import Q

from routeapp.kit import charts, clock
from routeapp.planning.queries_forecast import Outlook
from routeapp.planning.rules_ahead import left
from routeapp.stock.models import Holding, PlaceKind, StockMove

LOOK_BACK = timedelta(weeks=8)
LONGEST = timedelta(days=28)  # of the fan
STEPS = 14


def fan(seen: Outlook, machine: int, now: datetime) -> charts.Curve | None:
    """The picture of a placed cabinet; None where its prizes are not in the books or nothing happened lately."""
    row = seen.row.get(machine)
    if row is None or not seen.tracked[row]:
        return None
    stops = _stops(machine, now - LOOK_BACK)
    if not stops:
        return None
    held = int(seen.held[row])
    until = max(now, stops[-1].at) + min(LONGEST, max(timedelta(days=7), _usual_gap(stops)))
    ahead = _ahead(seen, row, stops[-1].at, until)
    placement = seen.histories[row].placement
    most, zone = placement.machine.model.prize_capacity, placement.location.time_zone
    lines = _down(stops, held)
    return charts.curve(
        seen=lines,
        expected=[charts.Point(when, middle) for when, _, middle, _ in ahead],
        band=[(charts.Point(when, low), charts.Point(when, high)) for when, low, _, high in ahead],
        now=now.timestamp(),
        most=most or max(point.amount for point in lines),
        first=_day(stops[0].at, zone),
        last=_day(until, zone),
    )


def _day(moment: datetime, zone: str) -> str:
    return f"{clock.local_day(moment, zone):%-d %b}"


def _ahead(seen: Outlook, row: int, start: datetime, until: datetime) -> list[tuple[float, ...]]:
    """(when, low, middle, high) from the last visit on."""
    history, kind = seen.histories[row], seen.histories[row].placement.machine.model.kind
    moments = np.linspace(start.timestamp(), until.timestamp(), STEPS)
    day = 86_400
    since = history.since.timestamp() / day
    usual = seen.learned.days(history.placement.location_id, np.full(STEPS, since), moments / day)
    lower, upper = seen.learned.range_of(kind)
    prizes, held = seen.prizes.rows([row] * STEPS), np.full(STEPS, seen.held[row])
    found = left(prizes, held, np.maximum(usual, 1e-9), (lower, 0.5, upper))
    return [(float(at), *(float(one) for one in each)) for at, each in zip(moments, found.T, strict=True)]


@dataclass(frozen=True)
class _Stop:
    """What one moment did to the prizes inside."""

    at: datetime
    won: int
    loaded: int


def _down(stops: list[_Stop], level: int) -> list[charts.Point]:
    """The fill through all stops, found from what is inside after the last one."""
    points: list[charts.Point] = []
    for stop in reversed(stops):
        points += [_point(stop.at, level), _point(stop.at, level - stop.loaded)]
        level += stop.won - stop.loaded
    return points[::-1]


def _point(at: datetime, pieces: int) -> charts.Point:
    return charts.Point(at.timestamp(), max(0, pieces))


def _usual_gap(stops: list[_Stop]) -> timedelta:
    """How long it usually is to the next visit; a week while nobody knows."""
    gaps = sorted(newer.at - older.at for older, newer in pairwise(stops))
    return gaps[len(gaps) // 2] if gaps else timedelta(weeks=1)


def _stops(machine: int, since: datetime) -> list[_Stop]:
    """What was won and loaded at each moment since, oldest first."""
    # Naming the place and its prizes lets the indexes (place, prize, at) find these weeks without reading all others.
    held = Holding.objects.filter(place__machine=machine).order_by().values_list("place", "prize")
    places, prizes = {place for place, _ in held}, {prize for _, prize in held}
    moves = StockMove.objects.filter(Q(from_place__in=places) | Q(to_place__in=places), at__gte=since, prize__in=prizes)
    found: dict[datetime, list[int]] = {}
    kinds = ("at", "quantity", "from_place__kind", "to_place__kind")
    for at, pieces, source, target in moves.order_by("at").values_list(*kinds):
        won, loaded = found.setdefault(at, [0, 0])
        sign = 1 if target == PlaceKind.CABINET else -1
        players = PlaceKind.PLAYERS in (source, target)
        found[at] = [won - sign * pieces, loaded] if players else [won, loaded + sign * pieces]
    return [_Stop(at, *parts) for at, parts in found.items()]
