"""Pages of orders: which are under way, one of them, and what is written down about it."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from machines.purchases import actions_orders, actions_papers, forms_orders, queries, queries_orders
from machines.purchases.models import Order, Paper, Supplier
from machines.purchases.queries_orders import Way
from machines.purchases.views import FORM, today
from routeapp.kit import money
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, ROUTE_HAND, allow, may
from routeapp.kit.clock import now
from routeapp.kit.files import kept_file
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page
from routeapp.kit.tables import Column, Table


def _state(way: Way) -> str:
    if way.overdue:
        return f"{way.overdue} days overdue"
    if way.late and way.late > 0:
        return f"{way.late} days late"
    return way.step.get_step_display() if way.step else "Ordered"


def _shape(way: Way) -> str:
    done = way.expected is not None and way.expected.is_done
    return "bad" if way.overdue else "warn" if way.is_late else "good" if done else "none"


ORDERS = Table(
    "orders",
    (
        Column("number", "Order", "order.number", link=lambda way: reverse("order", args=[way.order.pk])),
        Column("supplier", "Supplier", "order.supplier.name"),
        Column("what", "What", lambda way: ", ".join(f"{one.pieces} × {one.what}" for one in way.order.lines.all())),
        Column("state", "State", _state, "state", shape=_shape),
        Column("expected", "Expected", "expected.on", "day"),
        Column("ordered", "Ordered", "order.ordered_on", "day"),
    ),
    hint="Order, supplier or thing",
)


def order_or_404(pk: int) -> Order:
    return get_object_or_404(queries_orders.orders(), pk=pk)


@allow(*EVERYONE)
def buying(request: HttpRequest) -> HttpResponse:
    delivered = request.GET.get("show") == "delivered"
    some = queries_orders.delivered_orders() if delivered else queries_orders.open_orders()
    found = queries_orders.ways(some, now(), request.business.time_zone)
    late = 0 if delivered else sum(way.is_late for way in found)
    context = {"delivered": delivered, "number": len(found), "late": late, "any": Order.objects.exists()}
    return ORDERS.answer(request, "machines/purchases/order_list.html", found, **context)


@allow(*EVERYONE)
def order_page(request: HttpRequest, pk: int) -> HttpResponse:
    order = order_or_404(pk)
    context = {
        "order": order,
        "way": queries_orders.ways([order], now(), request.business.time_zone)[0],
        "receipt": queries_orders.receipt_of(order),
        "cabinets": queries_orders.cabinets_of(order),
    }
    if may(request.user, OWNER, BOOKKEEPER):
        context["money"] = queries_orders.order_money(order)
    return page(request, "machines/purchases/order_page.html", context)


@allow(OWNER)
def order_add(request: HttpRequest, pk: int) -> HttpResponse:
    quote, moment = get_object_or_404(queries.quotes(), pk=pk), now()
    text = request.GET.get("pieces", "")
    initial = {"pieces": text if text.isdecimal() and len(text) < 4 else queries.lowest_quantity(quote)}
    form = forms_orders.OrderForm(**sent(request), today=today(request), initial=initial)
    facts = {"by": request.user, "at": moment, "received_at": moment}
    if form.is_valid() and (order := accepted(form, actions_orders.order, quote=quote, **form.cleaned_data, **facts)):
        return done(request, f"{order} is in the books. Note each step as you hear of it.", "order", order.pk)
    context = {"title": f"Order from {quote.supplier}", "button": "It is ordered", "quote": quote}
    return ask(request, FORM, form, text=f"{quote.what}, {quote.term} {quote.place}".strip(), **context)


@allow(OWNER, ROUTE_HAND)
def order_unordered(request: HttpRequest) -> HttpResponse:
    moment = now()
    form = forms_orders.UnorderedForm(**sent(request), now=moment, zone=request.business.time_zone)
    if form.is_valid():
        said = dict(form.cleaned_data)
        line = actions_orders.Ordered(said.pop("what"), said.pop("model"), said.pop("pieces"))
        said |= {"lines": [line], "by": request.user, "received_at": moment}
        if order := accepted(form, actions_orders.take_in_unordered, **said):
            return done(request, f"It is in the books as {order}.", "order", order.pk)
    text = "For what stands at the door although nobody had ordered it. Look at it and take photos before you sign."
    context = {"title": "Something came", "button": "Put it into the books", "text": text}
    return ask(request, FORM, form, none=not Supplier.objects.exists(), **context)


@allow(*EVERYONE)
def order_step(request: HttpRequest, pk: int) -> HttpResponse:
    order, moment = order_or_404(pk), now()
    form = forms_orders.StepForm(**sent(request), order=order, now=moment, zone=request.business.time_zone)
    if form.is_valid() and accepted(
        form, actions_orders.reach, order=order, **form.cleaned_data, by=request.user, received_at=moment
    ):
        return done(request, "Noted. The expected day was worked out anew.", "order", pk)
    text = "A step that is noted already is replaced, for another day or another forecast."
    return ask(request, FORM, form, order=order, title="Note a step", button="Note it", text=text)


@allow(OWNER, ROUTE_HAND)
def order_receipt(request: HttpRequest, pk: int) -> HttpResponse:
    order, moment = order_or_404(pk), now()
    known = queries_orders.receipt_of(order)
    pieces = sum(line.pieces for line in order.lines.all())
    initial = {"came": known.came, "damaged": known.damaged} if known else {"came": pieces}
    zone = request.business.time_zone
    form = forms_orders.ReceiptForm(**sent(request), now=moment, zone=zone, initial=initial)
    if form.is_valid() and accepted(
        form, actions_orders.receive, order=order, **form.cleaned_data, by=request.user, received_at=moment
    ):
        return done(request, "Noted. Its costs are shared out over the cabinets.", "order", pk)
    text = f"{pieces} were ordered. What you find later replaces what you write now."
    return ask(request, FORM, form, order=order, title="What came", button="Note it", text=text)


@allow(OWNER, BOOKKEEPER)
def order_cost(request: HttpRequest, pk: int) -> HttpResponse:
    order, moment = order_or_404(pk), now()
    form = forms_orders.CostPaidForm(**sent(request), initial={"kind": request.GET.get("kind", "price")})
    said = {"order": order, "by": request.user, "at": moment, "received_at": moment}
    if form.is_valid() and accepted(form, actions_orders.pay_cost, **form.cleaned_data, **said):
        return done(request, "Noted. It counts in place of the quoted figure.", "order", pk)
    text = f"In {money.active()}, from the invoice. The cost of each cabinet follows."
    return ask(request, FORM, form, order=order, title="What it came to", button="Note it", text=text)


@allow(OWNER, BOOKKEEPER)
def order_payment(request: HttpRequest, pk: int) -> HttpResponse:
    order, moment = order_or_404(pk), now()
    place = {"now": moment, "zone": request.business.time_zone}
    form = forms_orders.PaymentForm(**sent(request), **place, code=order.currency, ours=money.active())
    if form.is_valid() and accepted(
        form, actions_papers.pay, order=order, **form.said(), by=request.user, received_at=moment
    ):
        return done(request, "The payment is noted.", "order", pk)
    return ask(request, FORM, form, order=order, title="A payment", button="Note the payment")


@allow(OWNER, BOOKKEEPER)
def order_paper(request: HttpRequest, pk: int) -> HttpResponse:
    order, moment = order_or_404(pk), now()
    form = forms_orders.OrderPaperForm(**sent(request))
    said = {"order": order, "by": request.user, "at": moment, "received_at": moment}
    if form.is_valid() and accepted(form, actions_papers.file_paper, **form.said(), **said):
        return done(request, "The document is filed.", "order", pk)
    return ask(request, FORM, form, order=order, title="File a document", button="File it")


@allow(OWNER, BOOKKEEPER)
def paper(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A document as a file to keep: what others wrote is never shown as a page of ours."""
    found = get_object_or_404(Paper.objects.live(), uuid=uuid)
    name, suffix = " ".join(found.name.split()), found.file.name.rpartition(".")[2]
    return kept_file(found.file, lasting=False, content_type=None, as_attachment=True, filename=f"{name}.{suffix}")
