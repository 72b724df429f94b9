"""Ordering prizes again, and on which terms suppliers deliver."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import refuse_another, same
from routeapp.planning.models_due import PrizeOrder, PrizeOrderLine, SupplierTerms
from routeapp.stock.models import Prize


@transaction.atomic
def order_prizes(*, uuid: UUID, supplier: str, lines: Sequence[tuple[Prize, int]], by: Any, at: datetime) -> PrizeOrder:
    """Note that prizes were ordered. Refuses an order of nothing; the same form sent twice is one."""
    lock("prize order", uuid)
    lines = [(prize, pieces) for prize, pieces in lines if pieces > 0]
    if made := PrizeOrder.objects.filter(uuid=uuid).first():
        refuse_another(
            set(made.lines.values_list("prize", "quantity")), {(prize.pk, pieces) for prize, pieces in lines}
        )
        return same(made, supplier=supplier)
    if not lines:
        raise Refused("Nothing was ordered: write at least one number of pieces.")
    order = PrizeOrder.objects.create(uuid=uuid, supplier=supplier, by=by, at=at, received_at=at)
    PrizeOrderLine.objects.bulk_create(
        PrizeOrderLine(order=order, prize=prize, quantity=pieces) for prize, pieces in lines
    )
    audit.record("ordered prizes", order, by=by, at=at)
    return order


@transaction.atomic
def withdraw_order(*, order: PrizeOrder, by: Any, at: datetime) -> None:
    """It was not ordered, or will not come. Withdrawn twice is withdrawn once."""
    if PrizeOrder.objects.live().filter(pk=order.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record("withdrew an order of prizes", order, by=by, at=at)


@transaction.atomic
def set_terms(*, supplier: str, by: Any, at: datetime, **columns: Any) -> SupplierTerms:
    """Write down on which terms a supplier delivers."""
    lock("supplier terms", supplier)
    terms, _ = SupplierTerms.objects.update_or_create(supplier=supplier, defaults=columns)
    audit.record("set the terms of", terms, by=by, at=at)
    return terms
