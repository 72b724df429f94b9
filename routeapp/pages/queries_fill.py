"""How full cabinets are, and how fast players empty them."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Case, F, Min, Q, Sum, When
from django.db.models.functions import Coalesce

from locations.placements.models import Placement
from routeapp.pages.rules import Fill, a_day
from routeapp.stock.models import Place, PlaceKind, Prize, StockMove
from routeapp.stock.queries import fills
from routeapp.visits.models import ServiceEntry
from routeapp.visits.queries_sheet import last_visits

LOOK_BACK = timedelta(weeks=8)


def fills_of(placements: Iterable[Placement], at: datetime) -> dict[int, Fill]:
    """How full each of these cabinets is, by machine id. Placements bring their machine and its model.

    Prizes won a day are those counted since the first visit of the last weeks, over the days since then.
    """
    placements = list(placements)
    ids = [placement.machine_id for placement in placements]
    held, last = fills(ids), last_visits(ids)
    first, won = _first_visits(ids, at - LOOK_BACK), _won_since(at - LOOK_BACK)
    found = {}
    for placement in placements:
        machine, visited = placement.machine_id, last.get(placement.machine_id)
        start = max(placement.started_at, first.get(machine, placement.started_at))
        found[machine] = Fill(
            left=held.get(machine, 0),
            since=visited or placement.started_at,
            a_day=a_day(sum(pieces for when, pieces in won.get(machine, ()) if when > start), start, visited),
            capacity=placement.machine.model.prize_capacity,
        )
    return found


def _first_visits(machine_ids: list[int], since: datetime) -> dict[int, datetime]:
    """The first visit since a moment by machine id."""
    entries = ServiceEntry.objects.filter(machine__in=machine_ids, at__gte=since, withdrawn_at=None)
    return dict(entries.order_by().values_list("machine").annotate(first=Min("at")))


def _won_since(since: datetime) -> dict[int, list[tuple[datetime, int]]]:
    """(when it was counted, prizes won) by machine id."""
    players = list(Place.objects.filter(kind=PlaceKind.PLAYERS).values_list("pk", flat=True))
    # Naming the prizes lets the index (place, prize, at) find these weeks without reading all others.
    prizes = list(Prize.objects.order_by().values_list("pk", flat=True))
    moves = StockMove.objects.filter(at__gte=since, prize__in=prizes)
    moves = moves.filter(Q(to_place__in=players) | Q(from_place__in=players))
    signed = Case(When(to_place__in=players, then=F("quantity")), default=-F("quantity"))
    cabinet = Coalesce("from_place__machine", "to_place__machine")
    found: dict[int, list[tuple[datetime, int]]] = defaultdict(list)
    for machine, when, pieces in moves.order_by().values_list(cabinet, "at").annotate(pieces=Sum(signed)):
        found[machine].append((when, pieces))
    return found
