"""Money given back to players, and reports of lost money that wait for an answer."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_POST

from machines.faults.models import Fault
from routeapp.expenses import actions_refunds as actions
from routeapp.expenses import queries
from routeapp.expenses.forms import RefundForm
from routeapp.expenses.models import Refund
from routeapp.kit import clock
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, refused
from routeapp.kit.tables import Column, Table, person

REFUNDS = Table(
    "refunds",
    (
        Column("at", "When", "at", "moment", zone="location.time_zone"),
        Column("cents", "Given back", lambda one: one.cents or None, "cash", order="cents"),
        Column(
            "from", "Whose money", lambda one: "refused" if one.refused else one.get_paid_from_display(), order=False
        ),
        Column("cabinet", "Cabinet", "machine.code"),
        Column("location", "Location", "location.name"),
        Column("note", "Remarks", "note"),
        Column("who", "Who", person("by"), order="by__first_name"),
    ),
    find=("machine__code", "location__name", "note"),
    hint="Cabinet, location or remark",
)


@allow(*EVERYONE)
def refunds(request: HttpRequest) -> HttpResponse:
    waiting = list(queries.undecided())
    return REFUNDS.answer(request, "routeapp/expenses/refund_list.html", queries.refunds(), waiting=waiting)


def _answer(request: HttpRequest, fault: Fault | None, **context: Any) -> HttpResponse:
    now, zone = clock.now(), timezone.get_current_timezone_name()
    refuse = fault is not None and "refuse" in request.POST
    form = RefundForm(**sent(request), now=now, zone=zone, fault=fault, refuse=refuse)
    facts = {"fault": fault, "zone": zone, "by": request.user, "received_at": now}
    if form.is_valid() and accepted(form, actions.refund, **form.cleaned_data, **facts):
        return done(request, "It is written down.", "refunds")
    return ask(request, "routeapp/expenses/refund_form.html", form, fault=fault, **context)


@allow(*EVERYONE)
def refund_add(request: HttpRequest) -> HttpResponse:
    return _answer(request, None)


@allow(*EVERYONE)
def refund_report(request: HttpRequest, pk: int) -> HttpResponse:
    """Decide on what a player told."""
    fault = get_object_or_404(Fault.objects.live().select_related("machine__model", "by"), pk=pk)
    decided = queries.decision_on(fault)
    if decided and request.method == "POST" and request.POST.get("uuid") == str(decided.uuid):
        return done(request, "It is written down.", "refunds")
    return _answer(request, fault, decided=decided)


@allow(OWNER, BOOKKEEPER)
@require_POST
def refund_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    one = get_object_or_404(Refund, pk=pk)
    try:
        actions.withdraw_refund(refund=one, by=request.user, at=clock.now())
    except Refused as refusal:
        return refused(request, refusal, "refunds")
    return done(request, "Withdrawn. Its money is where it was before.", "refunds")
