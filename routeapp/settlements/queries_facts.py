"""The moves of money behind a line of a settlement or draft, with the visits that brought them."""

from typing import Any

from django.db.models import BooleanField, Case, OuterRef, QuerySet, Subquery, UUIDField, Value, When

from locations.agreements.rules_periods import Stretch
from locations.sites.models import Location
from routeapp.cash.models import Purse
from routeapp.settlements.models import Settlement, SettlementLine
from routeapp.settlements.queries_brought import counted_moves
from routeapp.visits.models import ServiceEntry


def behind(line: SettlementLine) -> QuerySet:
    """The moves that a line of an issued settlement was worked out from. What cabinets brought under terms of their own
    stands behind lines of their own."""
    rows = facts(line.settlement.location, _days(line), line.machine_id, line.adjusts or line.settlement)
    if line.machine_id is None and line.adjusts_id is None:
        for other in line.settlement.lines.exclude(machine=None):
            rows = rows.exclude(machine=other.machine_id, day__range=_days(other))
    return rows


def _days(line: SettlementLine) -> Stretch:
    return Stretch(line.since, line.until)


def facts(
    location: Location, stretch: Stretch, machine: int | None = None, issued: Settlement | None = None
) -> QuerySet:
    """The moves of some days, oldest first, with `visit`, the id of the visit that brought each, and whether it
    `came_late` for the settlement that was `issued`."""
    visit = ServiceEntry.objects.filter(pk=OuterRef("entry")).values("visit")
    late: Any = Value(False)
    if issued is not None:
        late = Case(When(received_at__gt=issued.received_at, then=True), default=False, output_field=BooleanField())
    rows = counted_moves().filter(location=location, day__range=(stretch.since, stretch.until))
    rows = rows if machine is None else rows.filter(machine=machine)
    return (
        rows.select_related("machine")
        .annotate(visit=Subquery(visit, output_field=UUIDField()), came_late=late)
        .order_by("at", "pk")
    )


WORDS = {
    (Purse.PLAYERS, Purse.BOX): "cash",
    (Purse.PLAYERS, Purse.CARDS): "cards",
    (Purse.CARDS, Purse.FEES): "card fee",
}


def what(move: Any) -> str:
    """What a move is for a settlement, in words."""
    ends = (move.from_purse, move.to_purse)
    if ends in WORDS:
        return WORDS[ends]
    if move.to_purse == Purse.REFUNDS:
        return "refund"
    back = WORDS.get((move.to_purse, move.from_purse), "refund" if move.from_purse == Purse.REFUNDS else "other")
    return f"{back} taken back"


def amount(move: Any) -> int:
    """Below zero for what was taken back."""
    forth = (move.from_purse, move.to_purse) in WORDS or move.to_purse == Purse.REFUNDS
    return move.cents if forth else -move.cents
