"""Suppliers and what they offer."""

from collections.abc import Sequence
from dataclasses import astuple, dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from machines.purchases.models import Quote, QuoteCost, QuotePrice, Supplier
from machines.purchases.rules_terms import SEA_ONLY, Basis, Mode
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import refuse_another, same
from routeapp.kit.rows import write


@transaction.atomic
def add_supplier(*, name: str, by: Any, at: datetime, **fields: Any) -> Supplier:
    """Add whom we buy from; `fields` are columns of Supplier. Refuses a name that is taken."""
    lock("supplier", name)
    if Supplier.objects.filter(name=name).exists():
        raise Refused(f"There is a supplier {name} already.", "name")
    supplier = Supplier.objects.create(name=name, **fields)
    audit.record("added a supplier", supplier, by=by, at=at)
    return supplier


@transaction.atomic
def change_supplier(*, supplier: Supplier, name: str, by: Any, at: datetime, **fields: Any) -> Supplier:
    """Change columns of a supplier. Refuses a name that another has."""
    lock("supplier", name)
    supplier = Supplier.objects.select_for_update().get(pk=supplier.pk)
    if Supplier.objects.filter(name=name).exclude(pk=supplier.pk).exists():
        raise Refused(f"There is a supplier {name} already.", "name")
    write(supplier, {"name": name, **fields})
    audit.record("changed a supplier", supplier, by=by, at=at)
    return supplier


@dataclass(frozen=True)
class Price:
    """The price of one from so many pieces on, in minor units of the quote's currency."""

    from_pieces: int
    unit_cents: int


@dataclass(frozen=True)
class Charge:
    """A cost on top of the price: minor units, or for a share basis points of the price."""

    kind: str
    basis: str
    amount: int
    ours: bool = False


@transaction.atomic
def add_quote(
    *, uuid: UUID, supplier: Supplier, prices: Sequence[Price], charges: Sequence[Charge], by: Any, at: datetime,
    **fields: Any,
) -> Quote:  # fmt: skip
    """Write down an offer; `fields` are columns of Quote. The same `uuid` again changes nothing.

    Refuses a sea term without a ship, and prices that miss or repeat a quantity.
    """
    _check(prices, **fields)
    lock("quote", uuid)
    said = {"supplier": supplier, **fields}
    if known := Quote.objects.filter(uuid=uuid).first():
        refuse_another(_lines_of(known), (sorted(map(astuple, prices)), sorted(map(astuple, charges))))
        return same(known, **said)
    quote = Quote.objects.create(uuid=uuid, **said, by=by, at=at)
    _write_lines(quote, prices, charges)
    audit.record("wrote down a quote", quote, by=by, at=at)
    return quote


@transaction.atomic
def change_quote(
    *, quote: Quote, supplier: Supplier, prices: Sequence[Price], charges: Sequence[Charge], by: Any, at: datetime,
    **fields: Any,
) -> Quote:  # fmt: skip
    """Write a quote anew. Refuses once something was ordered by it: then it is what both sides agreed on."""
    quote = Quote.objects.select_for_update().get(pk=quote.pk)
    if quote.orders.exists():
        raise Refused("Something was ordered by this quote, so it stays. Write down the new offer as a new quote.")
    _check(prices, **fields)
    write(quote, {"supplier": supplier, **fields})
    quote.prices.all().delete()
    quote.costs.all().delete()
    _write_lines(quote, prices, charges)
    audit.record("changed a quote", quote, by=by, at=at)
    return quote


def _check(prices: Sequence[Price], *, term: str, mode: str, **_: Any) -> None:
    if term in SEA_ONLY and mode != Mode.SEA:
        raise Refused(f"{term} is a term for the sea. Choose FCA, CPT or CIP for another way.", "term")
    if not prices:
        raise Refused("Give at least one price.")
    if len({price.from_pieces for price in prices}) < len(prices):
        raise Refused("Two prices start at the same number of pieces.")


def _lines_of(quote: Quote) -> tuple[list[tuple], list[tuple]]:
    """Its prices and charges as they were told."""
    prices = quote.prices.values_list("from_pieces", "unit_cents")
    rows = quote.costs.values_list("kind", "basis", "share_bp", "amount_cents", "ours")
    charges = [(kind, basis, cents if share is None else share, ours) for kind, basis, share, cents, ours in rows]
    return sorted(prices), sorted(charges)


def _write_lines(quote: Quote, prices: Sequence[Price], charges: Sequence[Charge]) -> None:
    QuotePrice.objects.bulk_create(QuotePrice(quote=quote, **vars(price)) for price in prices)
    QuoteCost.objects.bulk_create(_cost(quote, charge) for charge in charges)


def _cost(quote: Quote, charge: Charge) -> QuoteCost:
    column = "share_bp" if charge.basis == Basis.SHARE else "amount_cents"
    said = {"kind": charge.kind, "basis": charge.basis, "ours": charge.ours, column: charge.amount}
    return QuoteCost(quote=quote, **said)
