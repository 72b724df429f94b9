"""Bags to the bank: choosing them, the slip, the bank's figure, and the list of all deposits."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_POST

from routeapp.cash import actions_deposits as actions
from routeapp.cash import queries_deposits as queries
from routeapp.cash import rules_slip
from routeapp.cash.forms_deposits import DepositForm, FigureForm
from routeapp.cash.models_bank import Deposit
from routeapp.kit import clock, htmx, money
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.tables import Column, Table, person
from routeapp.team.queries import business

MOST_BAGS = 200


def _state(found: Any) -> tuple[str, str]:
    if found.withdrawn_at:
        return "withdrawn", "bad"
    if found.matched:
        return "on the statement", "good"
    return ("bank's figure noted", "good") if found.figure is not None else ("not confirmed yet", "none")


DEPOSITS = Table(
    "deposits",
    (
        Column("number", "Deposit", str, order="pk", link=lambda one: reverse("deposit", args=[one.uuid])),
        Column("at", "When", "at", "moment"),
        Column("cents", "Amount", "cents", "cash"),
        Column("many", "Bags", "many", "count"),
        Column("figure", "Bank's figure", "figure", "cash"),
        Column("off", "Difference", "difference", "over_short"),
        Column("state", "State", lambda one: _state(one)[0], "state", order=False, shape=lambda one: _state(one)[1]),
        Column("by", "Taken by", person("by"), order="by__first_name"),
        Column("note", "Remarks", "note"),
    ),
    find=("by__first_name", "by__username", "note"),
    hint="Person or remark",
)


@allow(OWNER, BOOKKEEPER)
def deposit_list(request: HttpRequest) -> HttpResponse:
    return DEPOSITS.answer(request, "routeapp/cash/deposit_list.html", queries.deposits())


@allow(OWNER, BOOKKEEPER)
def deposit_add(request: HttpRequest) -> HttpResponse:
    """First the bags are chosen, then what goes on the slip."""
    numbers = [one for one in request.GET.getlist("bag") if one.isdecimal() and len(one) < 19][:MOST_BAGS]
    bags, moment = queries.chosen(numbers), clock.now()
    if not bags:
        return htmx.page(request, "routeapp/cash/deposit_choose.html", {"bags": queries.bags_that_can_go()[:MOST_BAGS]})
    form = DepositForm(**sent(request), bags=bags, pieces=queries.pieces_in(bags), now=moment)
    if form.is_valid() and accepted(form, actions.deposit, **form.facts(), by=request.user, received_at=moment):
        return htmx.done(request, "It is at the bank.", "deposit", form.cleaned_data["uuid"])
    return htmx.ask(request, "routeapp/cash/deposit_add.html", form, bags=bags)


@allow(OWNER, BOOKKEEPER)
def deposit(request: HttpRequest, uuid: UUID) -> HttpResponse:
    return _shown(request, uuid, FigureForm())


def _shown(request: HttpRequest, uuid: UUID, form: FigureForm) -> HttpResponse:
    found = get_object_or_404(queries.deposits(), uuid=uuid)
    context = {
        "deposit": found,
        "bags": queries.bags_of(found),
        "lines": rules_slip.slip_lines(found.lines, found.cents, money.active()),
        "figures": found.figures.select_related("by", "withdrawn_by"),
        "state": _state(found),
    }
    return htmx.ask(request, "routeapp/cash/deposit.html", form, **context)


@allow(OWNER, BOOKKEEPER)
def deposit_slip(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = get_object_or_404(Deposit, uuid=uuid)
    slip = queries.slip(found, queries.bags_of(found), business().name)
    response = HttpResponse(rules_slip.pdf(slip, money.active()), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="deposit-{found.pk}.pdf"'
    return response


@allow(OWNER, BOOKKEEPER)
@require_POST
def deposit_figure(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found, form = get_object_or_404(Deposit, uuid=uuid), FigureForm(request.POST)
    facts = {"deposit": found, "by": request.user, "at": clock.now()}
    if form.is_valid() and accepted(form, actions.note_bank_figure, **form.cleaned_data, **facts):
        return htmx.done(request, "The bank's figure is written down.", "deposit", uuid)
    return _shown(request, uuid, form)


@allow(OWNER, BOOKKEEPER)
@require_POST
def deposit_withdraw(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = get_object_or_404(Deposit, uuid=uuid)
    try:
        actions.withdraw_deposit(deposit=found, by=request.user, at=clock.now())
    except Refused as refusal:
        return htmx.refused(request, refusal, "deposit", uuid)
    return htmx.done(request, "Its bags are back with whoever had them before.", "deposit", uuid)
