"""Quotes and orders that the tests of buying tell their stories with."""

from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import uuid4

from machines.models import Supplier
from machines.purchases.actions import Charge, Price, add_quote
from machines.purchases.actions_orders import order, reach

MAY = datetime(2026, 5, 4, 12, tzinfo=UTC)  # fees of fiscal year 2026 hold


def supplier(name="Tern Works", **fields):
    return Supplier.objects.get_or_create(name=name, defaults=fields)[0]


def quote(owner, model, *, name="Tern Works", prices=((1, 900_00),), charges=(), **fields):
    """A quote in dollars for cabinets that are in the country; `fields` change what it says."""
    said = {
        "what": "Harbour Claw", "model": model, "received_on": MAY.date(), "currency": "USD", "rate": Decimal(1),
        "term": "DAP", "mode": "road", "made_days": 4, "transit_days": 6, "customs": "none", **fields,
    }  # fmt: skip
    lines = {"prices": [Price(*one) for one in prices], "charges": [Charge(*one) for one in charges]}
    return add_quote(uuid=uuid4(), supplier=supplier(name), **lines, **said, by=owner, at=MAY)


def sea_quote(owner, model, **fields):
    """A quote by sea into the United States, in dollars, with freight by measure."""
    said = {
        "name": "Gannet Makers", "prices": [(1, 480_00), (5, 440_00)], "term": "FOB", "mode": "sea", "customs": "us",
        "made_days": 25, "transit_days": 35, "deposit_bp": 3000, "duty_bp": 0, "extra_duty_bp": 750,
        "crate_litres": 900, "crate_kg": 110,
        "charges": [("freight", "measure", 95_00), ("broker", "shipment", 160_00), ("inland", "each", 45_00)],
    }  # fmt: skip
    return quote(owner, model, **{**said, **fields})


def ordered(owner, from_quote, *, pieces=2, on=date(2026, 5, 4), at=MAY, **fields):
    facts = {"by": owner, "at": at, "received_at": at}
    return order(uuid=uuid4(), quote=from_quote, pieces=pieces, ordered_on=on, **fields, **facts)


def bought(owner, model):
    """A quote and an order under way: the variable parts of their addresses by noun."""
    made = sea_quote(owner, model, valid_until=date(2035, 1, 1))
    under_way = ordered(owner, made)
    reach(order=under_way, step="made", note="as agreed", by=owner, at=MAY, received_at=MAY)
    free = quote(owner, model, valid_until=date(2035, 1, 1))
    return {"supplier": {"pk": made.supplier_id}, "quote": {"pk": free.pk}, "order": {"pk": under_way.pk}}
