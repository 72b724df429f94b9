"""Orders: placing one, its milestones, what was paid, what came, and what each cabinet cost in the end."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from machines.cabinets.actions import add_cabinet, change_status
from machines.cabinets.models import CabinetModel, Status
from machines.cabinets.queries import next_code
from machines.purchases import queries, queries_orders
from machines.purchases.models import (
    Milestone,
    Order,
    OrderCost,
    OrderedCabinet,
    OrderLine,
    Quote,
    Receipt,
    Supplier,
)
from machines.purchases.rules_container import container_number
from machines.purchases.rules_landed import WHOLE
from machines.purchases.rules_steps import Step
from machines.purchases.rules_terms import Mode
from routeapp.kit import audit, clock, money
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import refuse_another, same


@transaction.atomic
def order(
    *,
    uuid: UUID,
    quote: Quote,
    pieces: int,
    ordered_on: date,
    number: str = "",
    notes: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Order:
    """Order by a quote: its costs are kept as quoted, and each cabinet stands in the list as ordered since that day.

    The same `uuid` again changes nothing. Refuses fewer pieces than quoted, and a number that is taken.
    """
    lock("order", uuid)
    if known := Order.objects.filter(uuid=uuid).first():
        _refuse_another(known, number, [Ordered(quote.what, quote.model, pieces)])
        return same(known, quote=quote, ordered_on=ordered_on, notes=notes)
    found = queries.landed_of(quote, pieces, ordered_on)
    if found is None:
        raise Refused(f"The quote starts at {queries.lowest_quantity(quote)} pieces.", "pieces")
    price = max((one for one in quote.prices.all() if one.from_pieces <= pieces), key=lambda one: one.from_pieces)
    made = Order.objects.create(
        uuid=uuid,
        number=_free_number(number),
        supplier=quote.supplier,
        quote=quote,
        ordered_on=ordered_on,
        promised_on=ordered_on + timedelta(days=quote.lead_days),
        currency=quote.currency,
        rate=quote.rate,
        deposit_cents=pieces * price.unit_cents * quote.deposit_bp // WHOLE,
        mode=quote.mode,
        notes=notes,
        by=by,
        at=at,
    )
    facts = {"by": by, "at": at, "received_at": received_at}
    begins = facts | {"at": min(at, clock.start_of_day(ordered_on, timezone.get_current_timezone_name()))}
    _add_line(made, Ordered(quote.what, quote.model, pieces, price.unit_cents), Status.ORDERED, **begins)
    lines = [line for line in found.lines if line.counted and line.cents]
    OrderCost.objects.bulk_create(
        OrderCost(order=made, kind=line.kind, cents=line.cents, estimated=True, note=line.basis[:120], **facts)
        for line in lines
    )
    audit.record("ordered", made, by=by, at=received_at)
    return made


@dataclass(frozen=True)
class Ordered:
    """One line of an order; parts when it has no model."""

    what: str
    model: CabinetModel | None
    pieces: int
    unit_cents: int = 0


@transaction.atomic
def take_in_unordered(
    *,
    uuid: UUID,
    supplier: Supplier,
    lines: Sequence[Ordered],
    number: str = "",
    notes: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Order:
    """Write down what came although nobody had ordered it. The same `uuid` again changes nothing."""
    lock("order", uuid)
    if known := Order.objects.filter(uuid=uuid).first():
        _refuse_another(known, number, lines)
        return same(known, supplier=supplier, notes=notes)
    said = {"number": _free_number(number), "supplier": supplier, "notes": notes, "currency": money.active()}
    came = Order.objects.create(uuid=uuid, mode=Mode.ROAD, by=by, at=at, **said)
    facts = {"by": by, "at": at, "received_at": received_at}
    for line in lines:
        _add_line(came, line, Status.ARRIVED, **facts)
    Milestone.objects.create(order=came, step=Step.DELIVERED, **facts)
    Receipt.objects.create(order=came, came=sum(line.pieces for line in lines), **facts)
    audit.record("took in what nobody had ordered", came, by=by, at=received_at)
    return came


@transaction.atomic
def reach(
    *,
    order: Order,
    step: str,
    expected_on: date | None = None,
    container: str = "",
    note: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Milestone:
    """Note that an order reached a step. The same again is one; another moment for the step replaces the first.

    Refuses a container number with a slip in it, and a step before an earlier or after a later one.
    """
    Order.objects.select_for_update().get(pk=order.pk)
    live = Milestone.objects.live().filter(order=order)
    _check_way(live, step, at)
    said = {"expected_on": expected_on, "container": _container(container), "note": note}
    if same := live.filter(step=step, at=at, **said).first():
        return same
    live.filter(step=step).update(withdrawn_at=received_at, withdrawn_by=by)
    made = Milestone.objects.create(order=order, step=step, at=at, by=by, received_at=received_at, **said)
    audit.record(f"noted: {made.get_step_display().lower()}", order, by=by, at=received_at)
    return made


@transaction.atomic
def receive(
    *,
    order: Order,
    came: int,
    damaged: int = 0,
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
) -> Receipt:
    """Note what came of an order and how many were damaged; a later finding replaces an earlier one.

    The first `came` cabinets still under way have arrived, the order is delivered, and its costs are shared out.
    """
    Order.objects.select_for_update().get(pk=order.pk)
    if damaged > came:
        raise Refused("More were damaged than came.", "damaged")
    live = Receipt.objects.live().filter(order=order)
    if same := live.filter(came=came, damaged=damaged, source=source).first():
        return same
    live.update(withdrawn_at=received_at, withdrawn_by=by)
    facts = {"by": by, "at": at, "received_at": received_at, "source": source}
    made = Receipt.objects.create(order=order, came=came, damaged=damaged, **facts)
    if not Milestone.objects.live().filter(order=order, step=Step.DELIVERED).exists():
        Milestone.objects.create(order=order, step=Step.DELIVERED, **facts)
    ordered = OrderedCabinet.objects.filter(line__order=order).select_related("machine").order_by("pk")
    for one in [one for one in ordered[:came] if one.machine.status == Status.ORDERED]:
        change_status(machine=one.machine, status=Status.ARRIVED, **facts)
    _share_out(order)
    audit.record(f"received {came} pieces, {damaged} damaged", order, by=by, at=received_at)
    return made


@transaction.atomic
def pay_cost(
    *, order: Order, kind: str, cents: int, note: str = "", by: Any, at: datetime, received_at: datetime
) -> OrderCost:
    """Write down what one sort of cost came to in all; it replaces the quoted figure. The same again is one."""
    Order.objects.select_for_update().get(pk=order.pk)
    live = OrderCost.objects.live().filter(order=order, kind=kind)
    if same := live.filter(cents=cents, note=note, estimated=False).first():
        return same
    live.update(withdrawn_at=received_at, withdrawn_by=by)
    said = {"kind": kind, "cents": cents, "note": note, "estimated": False}
    made = OrderCost.objects.create(order=order, by=by, at=at, received_at=received_at, **said)
    if Receipt.objects.live().filter(order=order).exists():
        _share_out(order)
    audit.record(f"wrote down what {made.get_kind_display().lower()} came to", order, by=by, at=received_at)
    return made


def _container(text: str) -> str:
    try:
        return container_number(text) if text else ""
    except ValueError as problem:
        raise Refused(str(problem), "container") from None


def _check_way(live: QuerySet, step: str, at: datetime) -> None:
    place = list(Step).index(Step(step))
    for other in live.exclude(step=step):
        comes_first = list(Step).index(Step(other.step)) < place
        if (other.at > at) if comes_first else (other.at < at):
            day = f"{timezone.localtime(other.at):%-d %B %Y}"
            words = f"The order was {other.get_step_display().lower()} on {day} already"
            raise Refused(f"{words}, and that comes {'before' if comes_first else 'after'} it. Compare the days.", "at")


def _share_out(order: Order) -> None:
    """Give every piece its share of all costs by its price, to the cent; parts keep theirs out of the cabinets'."""
    lines = list(order.lines.prefetch_related("cabinets"))
    pieces = [line for line in lines for _ in range(line.pieces)]
    total = sum(OrderCost.objects.live().filter(order=order).values_list("cents", flat=True))
    shares = iter(money.split(total, [line.unit_cents for line in pieces]))
    for line in lines:
        parts = [next(shares) for _ in range(line.pieces)]
        for cabinet, cents in zip(line.cabinets.order_by("pk"), parts, strict=False):
            OrderedCabinet.objects.filter(pk=cabinet.pk).update(cost_cents=cents)


def _refuse_another(known: Order, number: str, lines: Sequence[Ordered]) -> None:
    """Refuse what a form says that was sent before, if it said another number or other lines then."""
    refuse_another(known.number, number.strip() or known.number)
    refuse_another(
        list(known.lines.values_list("what", "model", "pieces")),
        [(line.what, line.model and line.model.pk, line.pieces) for line in lines],
    )


def _add_line(order: Order, new: Ordered, status: str, *, by: Any, at: datetime, received_at: datetime) -> None:
    line = OrderLine.objects.create(order=order, **vars(new))
    if new.model is None:
        return
    for _ in range(new.pieces):
        machine = add_cabinet(
            code=next_code(),
            model=new.model,
            price_cents=new.model.price_cents,
            status=status,
            by=by,
            at=at,
            received_at=received_at,
        )
        OrderedCabinet.objects.create(line=line, machine=machine)


def _free_number(number: str) -> str:
    lock("order numbers")
    number = number.strip() or queries_orders.next_number()
    if Order.objects.filter(number=number).exists():
        raise Refused(f"There is an order {number} already. Choose another number.", "number")
    return number
