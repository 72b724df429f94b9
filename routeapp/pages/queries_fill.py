"""How full cabinets are, and how fast players empty them."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Case, F, Q, Sum, When
from django.db.models.functions import Coalesce

from locations.placements.models import Placement
from routeapp.pages.rules import Fill, a_day
from routeapp.stock.models import Place, PlaceKind, Prize, StockMove
from routeapp.stock.queries import fills
from routeapp.visits.queries_sheet import last_visits

LOOK_BACK = timedelta(weeks=8)


def fills_of(placements: Iterable[Placement], at: datetime) -> dict[int, Fill]:
    """How full each of these cabinets is, by machine id. Placements bring their machine and its model."""
    placements = list(placements)
    ids = [placement.machine_id for placement in placements]
    held, last, won = fills(ids), last_visits(ids), _won_since(at - LOOK_BACK)
    found = {}
    for placement in placements:
        machine = placement.machine_id
        start, visited = max(placement.started_at, at - LOOK_BACK), last.get(machine)
        found[machine] = Fill(
            left=held.get(machine, 0),
            since=visited or placement.started_at,
            a_day=a_day(won.get(machine, 0), start, visited),
            capacity=placement.machine.model.prize_capacity,
        )
    return found


def _won_since(since: datetime) -> dict[int, int]:
    """Prizes won by machine id."""
    players = list(Place.objects.filter(kind=PlaceKind.PLAYERS).values_list("pk", flat=True))
    # Naming the prizes lets the index (place, prize, at) find these weeks without reading all others.
    prizes = list(Prize.objects.order_by().values_list("pk", flat=True))
    moves = StockMove.objects.filter(at__gte=since, prize__in=prizes)
    moves = moves.filter(Q(to_place__in=players) | Q(from_place__in=players))
    signed = Case(When(to_place__in=players, then=F("quantity")), default=-F("quantity"))
    cabinet = Coalesce("from_place__machine", "to_place__machine")
    return dict(moves.order_by().values_list(cabinet).annotate(pieces=Sum(signed)))
