"""What stands between us and each host: owed, paid, and the link under which a host may look."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_POST

from locations.hosts.models import Host
from locations.sites.models import Location
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import add_refusal, sent
from routeapp.kit.tables import Column, Table
from routeapp.settlements import actions, queries, queries_accounts, queries_drafts, queries_unagreed
from routeapp.settlements.forms import PayForm
from routeapp.settlements.models import Remittance

OWED = Table(
    "what hosts are owed",
    (
        Column("location", "Location", "name", link=lambda one: reverse("location-account", args=[one.pk])),
        Column("host", "Host", "host.name"),
        Column("issued", "Issued", "issued_cents", "cash", adds_up=True),
        Column("paid", "Paid", "paid_cents", "cash", adds_up=True),
        Column("owed", "Owed", "owed_cents", "cash", adds_up=True),
    ),
    hint="Location or host",
)


@allow(OWNER, BOOKKEEPER)
def accounts(request: HttpRequest) -> HttpResponse:
    rows = queries_accounts.accounts()
    return OWED.answer(request, "routeapp/settlements/account_list.html", rows, **queries.owed_in_all())


@allow(OWNER, BOOKKEEPER)
def account(request: HttpRequest, pk: int) -> HttpResponse:
    """One location: what was issued, what was paid, what is owed; and the form to note a payment."""
    location, now = get_object_or_404(Location.objects.select_related("host"), pk=pk), clock.now()
    owed = queries.owed_cents([pk])[pk]
    form = PayForm(**sent(request), owed=owed, today=clock.local_day(now, location.time_zone))
    if form.is_valid():
        try:
            actions.pay(location=location, **form.cleaned_data, by=request.user, at=now)
            return htmx.done(request, "The payment is kept.", "location-account", pk)
        except Refused as refusal:
            add_refusal(form, refusal)
            if refusal.field in ("although", "note"):
                form.ask()
    drafts = [one for one in queries_drafts.drafts(now, [pk]) if one.says_something]
    context: dict[str, Any] = {
        "location": location,
        "owed": owed,
        "beyond": -owed,
        "drafts": drafts,
        "account": queries_accounts.account(location),
        "unagreed": queries_unagreed.unagreed(now, [pk]),
    }
    return htmx.ask(request, "routeapp/settlements/account.html", form, **context)


@allow(OWNER, BOOKKEEPER)
@require_POST
def payment_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    payment = get_object_or_404(Remittance.objects.select_related("location"), pk=pk)
    try:
        actions.withdraw_payment(payment=payment, by=request.user, at=clock.now())
    except Refused as refusal:
        return htmx.refused(request, refusal, "location-account", payment.location_id)
    return htmx.done(request, "Withdrawn. It is owed again.", "location-account", payment.location_id)


@allow(OWNER, BOOKKEEPER)
def host_account(request: HttpRequest, pk: int) -> HttpResponse:
    """All locations of a host, and the link to its statement."""
    host = get_object_or_404(Host, pk=pk)
    rows = queries_accounts.accounts(host)
    link = queries.link_of(host)
    owed = sum(one.owed_cents for one in rows)
    context = {
        "host": host,
        "owed": owed,
        "beyond": -owed,
        "rows": rows,
        "link": link,
        "address": settings.PUBLIC_URL + reverse("statement", args=[link.code]) if link else "",
    }
    return htmx.page(request, "routeapp/settlements/host_account.html", context)


@allow(OWNER, BOOKKEEPER)
@require_POST
def statement_open(request: HttpRequest, pk: int) -> HttpResponse:
    host = get_object_or_404(Host, pk=pk)
    actions.open_statement(host=host, by=request.user, at=clock.now())
    return htmx.done(request, "Whoever has this link sees the settlements of this host.", "host-account", pk)


@allow(OWNER, BOOKKEEPER)
@require_POST
def statement_close(request: HttpRequest, pk: int) -> HttpResponse:
    host = get_object_or_404(Host, pk=pk)
    if link := queries.link_of(host):
        actions.close_statement(link=link, by=request.user, at=clock.now())
    return htmx.done(request, "The link opens nothing any more.", "host-account", pk)
