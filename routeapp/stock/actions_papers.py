"""Papers of the stock room: a delivery taken in, a place counted, prizes carried from one place to another.

Each has an id made by its form, which is the source of all it brings: the same form sent twice is one paper.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from machines.cabinets.models import Machine
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import refuse_another, same
from routeapp.stock import actions, queries
from routeapp.stock.actions_goods import Lines, add_prize
from routeapp.stock.models import Delivery, Place, PlaceKind, Prize, StockCount, StockMove


@dataclass(frozen=True)
class Delivered:
    """One line of a delivery: a prize, or the name of a new one; `cost_cents` is what all its pieces cost."""

    prize: Prize | str
    pieces: int
    cost_cents: int


@transaction.atomic
def deliver(
    *,
    uuid: UUID,
    supplier: str,
    paper: str,
    to_place: Place,
    lines: Sequence[Delivered],
    reason: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Delivery:
    """Take in prizes from a supplier, or answer with the delivery that came under this id before.

    A name that no prize has yet becomes a new prize. Refuses a delivery without lines, and quantities that
    cannot be meant.
    """
    lock(uuid)
    facts = {"supplier": supplier, "paper": paper, "by": by, "at": at, "received_at": received_at, "source": uuid}
    delivery, made = Delivery.objects.get_or_create(uuid=uuid, defaults=facts)
    if not made:
        same(delivery, supplier=supplier, paper=paper)
        said = Counter((str(one.prize).casefold(), one.pieces, one.cost_cents, to_place.pk) for one in lines)
        refuse_another(_delivered(uuid), said)
        return delivery
    if not lines:
        raise Refused("Say which prizes came: at least one line.")
    moves = [
        StockMove(
            prize=_prize(line.prize, supplier, by, received_at),
            quantity=line.pieces,
            cost_cents=line.cost_cents,
            from_place=actions.beyond(PlaceKind.SUPPLIER),
            to_place=to_place,
            reason=reason,
            at=at,
            source=uuid,
        )
        for line in lines
    ]
    actions.record(moves=moves, by=by, at=received_at)
    audit.record("took in a delivery", delivery, by=by, at=received_at)
    return delivery


@transaction.atomic
def begin_with(
    *,
    uuid: UUID,
    machine: Machine,
    supplier: str,
    lines: Sequence[Delivered],
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Delivery:
    """Write down what was inside a cabinet when it came to us, at its cost: a delivery into the cabinet itself.

    Refuses a second one, and a moment at which the books knew of prizes inside already: they would count twice.
    """
    lock(uuid, f"inside {machine.pk}")
    place = actions.cabinet_place(machine)
    new = not Delivery.objects.filter(uuid=uuid).exists()
    if new and (why_not := queries.why_not_begun(place, at)):
        raise Refused(why_not, "at")
    said = {"supplier": supplier, "paper": f"with {machine.code}", "reason": "inside from the start", "to_place": place}
    delivery = deliver(uuid=uuid, **said, lines=lines, by=by, at=at, received_at=received_at)
    if new:
        audit.record("wrote down what was in from the start", place, by=by, at=received_at)
    return delivery


def _delivered(uuid: UUID) -> Counter[tuple]:
    moves = StockMove.objects.filter(source=uuid, reverses=None).select_related("prize")
    return Counter((one.prize.name.casefold(), one.quantity, one.cost_cents, one.to_place_id) for one in moves)


def _prize(prize: Prize | str, supplier: str, by: Any, at: datetime) -> Prize:
    if isinstance(prize, Prize):
        return prize
    known = Prize.objects.filter(name__iexact=prize).first()
    return known or add_prize(name=prize, supplier=supplier, by=by, at=at)


@transaction.atomic
def withdraw_delivery(*, delivery: Delivery, by: Any, at: datetime) -> None:
    """Take a wrong delivery back: what it brought goes back to the supplier. Refuses one taken back before."""
    if not Delivery.objects.live().filter(pk=delivery.pk).update(withdrawn_at=at, withdrawn_by=by):
        raise Refused("This delivery was withdrawn already.")
    actions.take_back(sources=[delivery.uuid], by=by, at=at)
    audit.record("withdrew a delivery", delivery, by=by, at=at)


@transaction.atomic
def count_place(
    *,
    uuid: UUID,
    place: Place,
    found: Lines,
    reason: str,
    estimated: bool = False,
    by: Any,
    at: datetime,
    received_at: datetime,
) -> bool:
    """Note what lies in a place; False when this paper came before. Differences become shrinkage.

    Refuses a count of nothing, and a difference in a store or van that no reason is given for. What is missing from
    a cabinet needs none: players won it.
    """
    lock(uuid)
    if before := list(StockCount.objects.filter(source=uuid).values_list("place", "prize", "quantity")):
        refuse_another(set(before), {(place.pk, prize.pk, pieces) for prize, pieces in found})
        return False
    if not found:
        raise Refused("Nothing was counted yet. Write 0 where a prize is gone.")
    if place.kind != PlaceKind.CABINET and not reason:
        _ask_why(place, found)
    counts = [
        StockCount(place=place, prize=prize, quantity=pieces, estimated=estimated, reason=reason, at=at, source=uuid)
        for prize, pieces in found
    ]
    actions.record(counts=counts, by=by, at=received_at)
    audit.record("counted the prizes in", place, by=by, at=received_at)
    return True


def _ask_why(place: Place, found: Lines) -> None:
    books = queries.contents([place.pk]).get(place.pk, {})
    differences = [
        f"{prize}: {abs(pieces - books.get(prize.pk, 0)):,} {'more' if pieces > books.get(prize.pk, 0) else 'missing'}"
        for prize, pieces in found
        if pieces != books.get(prize.pk, 0)
    ]
    if differences:
        raise Refused(f"{'; '.join(differences)}. Look again, or say why: “not known” will do.", "reason")


@transaction.atomic
def carry(
    *,
    uuid: UUID,
    from_place: Place,
    to_place: Place,
    lines: Iterable[tuple[Prize, int]],
    by: Any,
    at: datetime,
    received_at: datetime,
) -> bool:
    """Move prizes between two places of ours; False when this paper came before. Refuses to move nothing."""
    lock(uuid)
    moves = [
        StockMove(prize=prize, quantity=pieces, from_place=from_place, to_place=to_place, at=at, source=uuid)
        for prize, pieces in lines
        if pieces
    ]
    if before := StockMove.objects.filter(source=uuid, reverses=None):
        refuse_another(_carried(before), _carried(moves))
        return False
    if not moves:
        raise Refused("Nothing was chosen yet. Say how many of which prize.")
    actions.record(moves=moves, by=by, at=received_at)
    audit.record("moved prizes to", to_place, by=by, at=received_at)
    if from_place.kind == PlaceKind.CABINET:  # what is foretold of it goes by its own lines
        audit.record("took prizes out of", from_place, by=by, at=received_at)
    return True


def _carried(moves: Iterable[StockMove]) -> Counter[tuple]:
    return Counter((one.prize_id, one.quantity, one.from_place_id, one.to_place_id) for one in moves)
