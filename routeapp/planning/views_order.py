"""Which prizes to order now: the list, the order of one supplier, and its terms."""

from datetime import datetime
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_POST

from routeapp.kit import clock, sheets
from routeapp.kit.access import EVERYONE, OWNER, ROUTE_HAND, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done
from routeapp.kit.money import as_text
from routeapp.kit.tables import Column, Table
from routeapp.planning import actions_order, queries_order
from routeapp.planning.forms_order import OrderForm, TermsForm
from routeapp.planning.models_due import PrizeOrder
from routeapp.planning.queries_order import Line
from routeapp.stock.models import Prize

SHAPES = {"late": "bad", "order": "warn", "lies long": "none", "enough": "good"}
REORDER = Table(
    "prizes to order",
    (
        Column("prize", "Prize", "prize.name", link=lambda line: f"{reverse('stock-moves')}?prize={line.prize.pk}"),
        Column("state", "State", "state", "state", shape=lambda line: SHAPES[line.state]),
        Column("order", "Order now", "quantity", "count"),
        Column("cost", "For about", lambda line: line.cents or None, "cash", adds_up=True),
        Column("supplier", "Supplier", "prize.supplier"),
        Column("hand", "At hand", "article.at_hand", "count"),
        Column("week", "Won a week", "a_week", "count"),
        Column("point", "Order at", "advice.point", "count"),
        Column("age", "Lies (days)", "age_days", "count"),
        Column("why", "Why", "why", order=False),
    ),
    hint="Prize, supplier or state",
    rows_a_page=200,
)


@allow(*EVERYONE)
def reorder(request: HttpRequest) -> HttpResponse:
    found = queries_order.lines(clock.now())
    told = {"groups": queries_order.groups(found), "orders": queries_order.newest_orders(), "any": bool(found)}
    return REORDER.answer(request, "routeapp/planning/reorder_list.html", found, **told)


def _of_supplier(request: HttpRequest, now: datetime) -> tuple[str, list[Line]]:
    supplier = request.GET.get("supplier", "").replace("\0", "")[:120]
    lines = [line for line in queries_order.lines(now) if line.prize.supplier == supplier]
    if not lines:
        raise Http404("No prize comes from that supplier.")
    return supplier, lines


@allow(*EVERYONE)
def reorder_file(request: HttpRequest) -> HttpResponse:
    """The order list of one supplier, to send to them."""
    supplier, lines = _of_supplier(request, clock.now())
    rows: list[list[Any]] = [["Prize", "Pieces", "About each", "About"]]
    rows += [
        [line.prize.name, line.quantity, as_text(round(line.article.unit_cents)), as_text(line.cents)]
        for line in lines
        if line.quantity
    ]
    return sheets.download(rows, "order")


@allow(OWNER, ROUTE_HAND)
def reorder_supplier(request: HttpRequest) -> HttpResponse:
    now = clock.now()
    supplier, lines = _of_supplier(request, now)
    form, facts = OrderForm(**sent(request), lines=lines), {"supplier": supplier, "by": request.user, "at": now}
    if form.is_valid() and accepted(
        form, actions_order.order_prizes, uuid=form.cleaned_data["uuid"], lines=form.lines(), **facts
    ):
        return done(request, "The order is written down; it counts as on its way until it is taken in.", "reorder")
    return ask(request, "routeapp/planning/reorder_supplier.html", form, supplier=supplier, lines=lines)


@allow(OWNER)
def supplier_terms(request: HttpRequest) -> HttpResponse:
    supplier = request.GET.get("supplier", "").replace("\0", "")[:120]
    if not Prize.objects.filter(supplier=supplier).exists():
        raise Http404("No prize comes from that supplier.")
    terms = queries_order.terms_of(supplier)
    form = TermsForm(**sent(request), initial={name: getattr(terms, name) for name in TermsForm.base_fields})
    facts = {"supplier": supplier, "by": request.user, "at": clock.now()}
    if form.is_valid() and accepted(form, actions_order.set_terms, **form.cleaned_data, **facts):
        return done(request, "The terms are written down.", "reorder")
    return ask(request, "routeapp/planning/supplier_terms.html", form, supplier=supplier)


@require_POST
@allow(OWNER, ROUTE_HAND)
def order_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    order = get_object_or_404(PrizeOrder, pk=pk)
    actions_order.withdraw_order(order=order, by=request.user, at=clock.now())
    return done(request, f"{order} counts no longer.", "reorder")
