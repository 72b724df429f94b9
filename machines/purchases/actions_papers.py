"""Money that went to a supplier, and the documents of an order."""

from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.core.files.base import ContentFile
from django.db import transaction

from machines.purchases.models import Order, Paper, Payment
from routeapp.kit import audit
from routeapp.kit.locks import lock
from routeapp.kit.once import same


@transaction.atomic
def pay(
    *,
    uuid: UUID,
    order: Order,
    cents: int,
    invoice_cents: int,
    note: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Payment:
    """Note a payment to the supplier. The same `uuid` again changes nothing."""
    lock("payment", uuid)
    said = {"order": order, "cents": cents, "invoice_cents": invoice_cents, "note": note}
    payment, made = Payment.objects.get_or_create(
        uuid=uuid, defaults={**said, "by": by, "at": at, "received_at": received_at}
    )
    same(payment, **said)
    if made:
        audit.record("paid for an order", order, by=by, at=received_at)
    return payment


@transaction.atomic
def file_paper(
    *, uuid: UUID, order: Order, name: str, content: bytes, suffix: str, by: Any, at: datetime, received_at: datetime
) -> Paper:
    """Keep a document of an order under a name nobody can guess. The same `uuid` again changes nothing."""
    lock("paper", uuid)
    if known := Paper.objects.filter(uuid=uuid).first():
        return same(known, order=order, name=name)
    paper = Paper(uuid=uuid, order=order, name=name, by=by, at=at, received_at=received_at)
    paper.file.save(f"{uuid4().hex}.{suffix}", ContentFile(content), save=True)
    audit.record("filed a document", order, by=by, at=received_at)
    return paper
