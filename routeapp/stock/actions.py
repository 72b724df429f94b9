"""Moving prizes, counting them, and taking back what a withdrawn document moved.

All writing of stock goes through `record`, which keeps the holdings, the counts and the average costs right in
whatever order facts arrive.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Min
from django.dispatch import receiver

from machines.cabinets.actions import renamed
from machines.cabinets.actions_meters import taken
from machines.cabinets.models import Counts, Machine, Reading
from routeapp.kit.errors import Refused
from routeapp.kit.prepared import Prepared
from routeapp.stock import actions_ledger as ledger
from routeapp.stock.actions_ledger import beyond
from routeapp.stock.actions_settling import Cause
from routeapp.stock.models import Place, PlaceKind, Prize, StockCount, StockMove

__all__ = ["beyond", "cabinet_place", "cabinet_places", "count", "move", "record", "take_back"]

LARGEST_LOAD = 100_000  # pieces in one move; more is a slip of the finger


def cabinet_places(machines: Iterable[Machine]) -> dict[int, Place]:
    """The place that each cabinet's prizes lie in, by machine id; made when it is first asked for."""
    machines = list(machines)
    found = {place.machine_id: place for place in _places_of([machine.pk for machine in machines])}
    for machine in machines:
        if machine.pk not in found:
            names = {"kind": PlaceKind.CABINET, "name": _name_of(machine)}
            found[machine.pk] = Place.objects.get_or_create(machine=machine, defaults=names)[0]
    return found


def _name_of(machine: Machine) -> str:
    return f"Cabinet {machine.code}"


@receiver(renamed)
def _rename(machine: Machine, **_: Any) -> None:
    """What a cabinet holds lies under the code it has now; another cabinet may get the old one."""
    Place.objects.filter(machine=machine).update(name=_name_of(machine))


_places_of = Prepared(lambda machines: Place.objects.filter(machine__in=machines), list)


def cabinet_place(machine: Machine) -> Place:
    return cabinet_places([machine])[machine.pk]


@transaction.atomic(savepoint=False)
def record(
    *,
    moves: Sequence[StockMove] = (),
    counts: Sequence[StockCount] = (),
    read: Mapping[int, datetime] | None = None,
    by: Any,
    at: datetime,
) -> None:
    """Append unsaved `moves` and `counts`, each with its own moment; `at` is when they were received. `read` says since
    when there are other readings of prizes meters, by machine id: they are in the books already.

    Refuses no pieces, too many to be meant, and a move to where the prizes lie already. A place may run below
    zero: what a person carried counts more than what the books knew, and the next count settles it.
    """
    for one in moves:
        _check_quantity(one)
        if one.from_place_id == one.to_place_id:
            raise Refused("Prizes can only move between two different places.", "to_place")
    for one in counts:
        _check_quantity(one, least=0)
    person = by.pk
    for fact in (*moves, *counts):
        fact.by_id, fact.received_at = person, at
    ledger.append(moves, counts, read or {}, Cause(person, at))


def _check_quantity(fact: StockMove | StockCount, least: int = 1) -> None:
    if not least <= fact.quantity <= LARGEST_LOAD:
        raise Refused(f"{fact.quantity:,} pieces of {fact.prize} cannot be right.", "quantity")


def move(
    *,
    prize: Prize,
    quantity: int,
    from_place: Place,
    to_place: Place,
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
    cost_cents: int | None = None,
    reason: str = "",
) -> None:
    """Move `quantity` pieces of one prize. Refuses what `record` refuses."""
    one = StockMove(
        prize=prize,
        quantity=quantity,
        from_place=from_place,
        to_place=to_place,
        at=at,
        source=source,
        cost_cents=cost_cents,
        reason=reason,
    )
    record(moves=[one], by=by, at=received_at)


def count(
    *,
    place: Place,
    prize: Prize,
    quantity: int,
    source: UUID,
    estimated: bool = False,
    reason: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
) -> None:
    """Note what was found. What is missing from a cabinet was won by players; elsewhere it is shrinkage."""
    one = StockCount(
        place=place, prize=prize, quantity=quantity, estimated=estimated, reason=reason, at=at, source=source
    )
    record(counts=[one], by=by, at=received_at)


@transaction.atomic
def take_back(*, sources: Iterable[UUID], by: Any, at: datetime) -> None:
    """Reverse every move and withdraw every count that the documents `sources` brought. Their readings are withdrawn
    already."""
    sources = list(sources)
    read = Reading.objects.filter(source__in=sources, meter__counts=Counts.PRIZES_OUT).order_by()
    since = dict(read.values_list("meter__machine").annotate(Min("at")))
    ledger.take_back(sources, since, Cause(by.pk, at))


@receiver(taken)
def _go_by_reading(reading: Reading, **_: Any) -> None:
    """Settle a cabinet anew whose prizes meter was read outside a visit: at its start, its end, or a new meter."""
    if reading.meter.counts == Counts.PRIZES_OUT:
        record(read={reading.meter.machine_id: reading.at}, by=reading.by, at=reading.received_at)
