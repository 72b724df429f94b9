"""Suppliers and quotes as pages show them, and what a quote costs at the door."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, Max, QuerySet

from machines.purchases import rules_landed as rules
from machines.purchases.models import Customs, Quote, Supplier
from machines.purchases.rules_landed import Landed
from routeapp.kit import money


def suppliers() -> QuerySet:
    """Suppliers by name, each with how often it `quoted`, what we `ordered` and when `last`."""
    return Supplier.objects.annotate(
        quoted=Count("quotes", distinct=True), ordered=Count("orders", distinct=True), last=Max("orders__ordered_on")
    ).order_by("name", "pk")


def quotes() -> QuerySet:
    return Quote.objects.select_related("supplier", "model").prefetch_related("prices", "costs")


def latest_quotes() -> QuerySet:
    """The newest first, with how often each was ordered by."""
    return quotes().annotate(ordered=Count("orders")).order_by("-received_on", "-pk")


def lowest_quantity(quote: Quote) -> int:
    return min(price.from_pieces for price in quote.prices.all())


def landed_of(quote: Quote, pieces: int, ordered_on: date) -> Landed | None:
    """What so many pieces cost at the door when they are ordered on a day; None below the least quantity quoted."""
    unit_cents = rules.unit_price([(one.from_pieces, one.unit_cents) for one in quote.prices.all()], pieces)
    if unit_cents is None:
        return None
    return rules.landed(
        rules.Offer(
            pieces=pieces,
            unit_cents=unit_cents,
            theirs=quote.currency,
            ours=money.active(),
            rate=quote.rate,
            term=quote.term,
            mode=quote.mode,
            extras=tuple(_extras(quote)),
            crate_litres=quote.crate_litres,
            crate_kg=quote.crate_kg,
            kg_per_m3=quote.kg_per_m3,
            entry=_entry(quote, ordered_on + timedelta(days=quote.lead_days)),
        )
    )


def _extras(quote: Quote) -> Iterable[rules.Extra]:
    for cost in quote.costs.all():
        amount = cost.share_bp if cost.amount_cents is None else cost.amount_cents
        yield rules.Extra(cost.kind, cost.basis, amount or 0, cost.ours)


def _entry(quote: Quote, on: date) -> rules.Import | None:
    if quote.customs == Customs.NONE:
        return None
    return rules.Import(
        us=quote.customs == Customs.US,
        on=on,
        duty=quote.duty_bp,
        extra_duty=quote.extra_duty_bp,
        tax=quote.tax_bp,
        tax_comes_back=quote.tax_comes_back,
    )


@dataclass(frozen=True)
class QuoteAt:
    """A quote and what it costs for so many pieces."""

    quote: Quote
    landed: Landed | None


def priced(some: Iterable[Quote], pieces: int | None, ordered_on: date) -> list[QuoteAt]:
    """Each for `pieces`, or for the least quantity it was quoted for."""
    return [QuoteAt(one, landed_of(one, pieces or lowest_quantity(one), ordered_on)) for one in some]
