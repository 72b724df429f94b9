"""Orders: where each is, when it will be here, what it costs, and what a supplier's deliveries were like."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Prefetch, QuerySet, Sum

from machines.purchases import rules_steps as steps
from machines.purchases.models import Milestone, Order, OrderCost, OrderedCabinet, Paper, Payment, Receipt, Supplier
from machines.purchases.rules_chances import Damage, Lateness, damage, lateness
from machines.purchases.rules_steps import Expected, Step
from routeapp.kit.clock import local_day


def orders() -> QuerySet:
    """Each with its lines and its live milestones (`steps`), oldest first."""
    live = Prefetch("milestones", Milestone.objects.live().select_related("by").order_by("at", "pk"), to_attr="steps")
    return Order.objects.select_related("supplier", "quote").prefetch_related("lines__model", live)


def cabinets_of(order: Order) -> QuerySet:
    """The cabinets that an order brings."""
    return OrderedCabinet.objects.filter(line__order=order).select_related("machine")


def open_orders() -> QuerySet:
    """Those that are not delivered yet."""
    done = Milestone.objects.live().filter(step=Step.DELIVERED)
    return orders().exclude(pk__in=done.values("order"))


def delivered_orders() -> QuerySet:
    done = Milestone.objects.live().filter(step=Step.DELIVERED)
    return orders().filter(pk__in=done.values("order"))


@dataclass(frozen=True)
class Delivered:
    """One delivery of a supplier: what was quoted and what it took, in days."""

    order: Order
    quoted: int
    took: int

    @property
    def ratio(self) -> float:
        return self.took / self.quoted

    @property
    def late(self) -> int:
        return self.took - self.quoted


@dataclass(frozen=True)
class Record:
    """What a supplier's deliveries here were like, newest first."""

    deliveries: list[Delivered]
    lateness: Lateness
    damage: Damage
    damaged: int


def records(suppliers: Iterable[Supplier], zone: str) -> dict[int, Record]:
    """The record of each supplier by its id."""
    wanted = [supplier.pk for supplier in suppliers]
    found: dict[int, list[Delivered]] = {pk: [] for pk in wanted}
    timed = delivered_orders().filter(supplier__in=wanted, quote__isnull=False, ordered_on__isnull=False)
    for order in timed:
        took = (local_day(order.steps[-1].at, zone) - order.ordered_on).days
        found[order.supplier_id].append(Delivered(order, max(1, order.quote.lead_days), max(1, took)))
    counts = _counts(wanted)
    return {pk: _record(found[pk], *counts.get(pk, (0, 0))) for pk in wanted}


def _counts(suppliers: list[int]) -> dict[int, tuple[int, int]]:
    """Cabinets that came, and those damaged, by supplier."""
    of_cabinets = Receipt.objects.live().filter(order__supplier__in=suppliers, order__lines__model__isnull=False)
    once = Receipt.objects.filter(pk__in=of_cabinets.values("pk")).order_by()
    sums = once.values_list("order__supplier").annotate(Sum("came"), Sum("damaged"))
    return {supplier: (came, damaged) for supplier, came, damaged in sums}


def _record(deliveries: list[Delivered], came: int, damaged: int) -> Record:
    ratios = [one.ratio for one in deliveries]
    return Record(deliveries, lateness(ratios), damage(came, damaged), damaged)


@dataclass(frozen=True)
class Way:
    """Where an order is and when it will be here. `late` is days beyond what was promised (below zero: early)."""

    order: Order
    step: Milestone | None
    expected: Expected | None
    late: int | None
    overdue: int  # days beyond the expected day, while it is not here

    @property
    def early(self) -> int:
        return -(self.late or 0)

    @property
    def is_late(self) -> bool:
        return bool(self.overdue or (self.late or 0) > 0)


def ways(some: Iterable[Order], now: datetime, zone: str) -> list[Way]:
    """Each order's way, as orders() brings them."""
    found = list(some)
    known = records({order.supplier for order in found}, zone)
    return [_way(order, known[order.supplier_id].lateness, local_day(now, zone), zone) for order in found]


def _way(order: Order, usual: Lateness, today: date, zone: str) -> Way:
    step = order.steps[-1] if order.steps else None
    made, transit = (order.quote.made_days, order.quote.transit_days) if order.quote else (0, 0)
    if order.ordered_on is None or not (order.quote or order.steps):
        return Way(order, step, None, None, 0)
    reached = [steps.Reached(one.step, local_day(one.at, zone), one.expected_on) for one in order.steps]
    expected = steps.expected(order.ordered_on, made, transit, reached, usual.mean, usual.deliveries)
    arrives = expected.on if expected.is_done else max(expected.on, today)
    late = (arrives - order.promised_on).days if order.promised_on else None
    return Way(order, step, expected, late, (arrives - expected.on).days)


@dataclass(frozen=True)
class OrderMoney:
    costs: list[OrderCost]
    payments: list[Payment]
    papers: list[Paper]

    @property
    def total(self) -> int:
        return sum(cost.cents for cost in self.costs)

    @property
    def estimated(self) -> int:
        return sum(cost.cents for cost in self.costs if cost.estimated)


def order_money(order: Order) -> OrderMoney:
    return OrderMoney(
        list(OrderCost.objects.live().filter(order=order).select_related("by")),
        list(Payment.objects.live().filter(order=order).select_related("by")),
        list(Paper.objects.live().filter(order=order).select_related("by")),
    )


def receipt_of(order: Order) -> Receipt | None:
    return Receipt.objects.live().filter(order=order).select_related("by").first()


def next_number() -> str:
    """The number for an order without one of its own: one more than there are."""
    number = Order.objects.count() + 1
    while Order.objects.filter(number=f"P{number:03}").exists():
        number += 1
    return f"P{number:03}"


def late_ways(now: datetime, zone: str) -> list[Way]:
    """Orders under way that are later than promised or expected."""
    return [way for way in ways(open_orders().filter(ordered_on__isnull=False), now, zone) if way.is_late]
