"""Pages of suppliers and their quotes."""

from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from machines.purchases import actions, queries, queries_orders
from machines.purchases.forms import QuotePaper, SupplierForm
from machines.purchases.models import Supplier
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.clock import local_day, now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page
from routeapp.kit.tables import Column, Table

FORM = "machines/purchases/form.html"

SUPPLIERS = Table(
    "suppliers",
    (
        Column("name", "Supplier", "name", link=lambda supplier: reverse("supplier", args=[supplier.pk])),
        Column("contact", "Whom to ask for", "contact"),
        Column("quoted", "Quotes", "quoted", "count"),
        Column("ordered", "Orders", "ordered", "count"),
        Column("last", "Last order", "last", "day"),
    ),
    find=("name", "contact"),
    hint="Supplier",
)
QUOTES = Table(
    "quotes",
    (
        Column("supplier", "Supplier", "supplier.name", link=lambda quote: reverse("quote", args=[quote.pk])),
        Column("what", "What", "what"),
        Column("term", "Term", "term"),
        Column("lead", "Days to the door", "lead_days", "count", order=False),
        Column("dated", "Dated", "received_on", "day"),
        Column("until", "Valid until", "valid_until", "day"),
        Column("ordered", "Orders", "ordered", "count"),
    ),
    find=("supplier__name", "what", "reference"),
    hint="Supplier, thing or number",
)


def today(request: HttpRequest) -> date:
    return local_day(now(), request.business.time_zone)


@allow(OWNER, BOOKKEEPER)
def supplier_list(request: HttpRequest) -> HttpResponse:
    return SUPPLIERS.answer(request, "machines/purchases/supplier_list.html", queries.suppliers())


@allow(OWNER, BOOKKEEPER)
def supplier_page(request: HttpRequest, pk: int) -> HttpResponse:
    supplier = get_object_or_404(Supplier, pk=pk)
    context = {
        "supplier": supplier,
        "record": queries_orders.records([supplier], request.business.time_zone)[pk],
        "quotes": queries.latest_quotes().filter(supplier=supplier),
    }
    return page(request, "machines/purchases/supplier_page.html", context)


@allow(OWNER)
def supplier_add(request: HttpRequest) -> HttpResponse:
    form = SupplierForm(**sent(request))
    if form.is_valid() and accepted(form, actions.add_supplier, **form.cleaned_data, by=request.user, at=now()):
        return done(request, f"{form.cleaned_data['name']} was added. Now write down a quote.", "quote-add")
    return ask(request, FORM, form, title="Add a supplier", button="Add the supplier")


@allow(OWNER)
def supplier_edit(request: HttpRequest, pk: int) -> HttpResponse:
    supplier = get_object_or_404(Supplier, pk=pk)
    form = SupplierForm(**sent(request), instance=supplier)
    if form.is_valid() and accepted(
        form, actions.change_supplier, supplier=supplier, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, f"{form.cleaned_data['name']} was changed.", "supplier", pk)
    return ask(request, FORM, form, title="Change the supplier", button="Save")


@allow(OWNER, BOOKKEEPER)
def quote_list(request: HttpRequest) -> HttpResponse:
    return QUOTES.answer(request, "machines/purchases/quote_list.html", queries.latest_quotes())


@allow(OWNER, BOOKKEEPER)
def quote_page(request: HttpRequest, pk: int) -> HttpResponse:
    quote = get_object_or_404(queries.latest_quotes(), pk=pk)
    text = request.GET.get("pieces", "")
    pieces = int(text) if text.isdecimal() and 0 < len(text) < 5 and int(text) else queries.lowest_quantity(quote)
    landed = queries.landed_of(quote, pieces, today(request))
    context = {"quote": quote, "pieces": pieces, "landed": landed, "least": queries.lowest_quantity(quote)}
    context["is_over"] = quote.valid_until is not None and quote.valid_until < today(request)
    return page(request, "machines/purchases/quote_page.html", context, part="landed")


@allow(OWNER)
def quote_add(request: HttpRequest) -> HttpResponse:
    paper = QuotePaper(**sent(request), today=today(request))
    said = {"by": request.user, "at": now()}
    if paper.is_valid() and (quote := accepted(paper, actions.add_quote, **paper.said(), **said)):
        return done(request, "The quote is written down. This is what it costs at the door.", "quote", quote.pk)
    return _ask(request, paper, "Write down a quote", suppliers=Supplier.objects.exists())


@allow(OWNER)
def quote_edit(request: HttpRequest, pk: int) -> HttpResponse:
    quote = get_object_or_404(queries.quotes(), pk=pk)
    paper = QuotePaper(**sent(request), today=today(request), quote=quote)
    if paper.is_valid():
        said = {name: value for name, value in paper.said().items() if name != "uuid"}
        if accepted(paper, actions.change_quote, quote=quote, **said, by=request.user, at=now()):
            return done(request, "The quote was changed.", "quote", pk)
    return _ask(request, paper, "Change the quote", suppliers=True)


def _ask(request: HttpRequest, paper: Any, title: str, *, suppliers: bool) -> HttpResponse:
    context = {"paper": paper, "title": title, "suppliers": suppliers}
    return render(request, "machines/purchases/quote_form.html", context, status=422 if paper.is_bound else 200)
