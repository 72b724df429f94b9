"""Pages of profit: the statement by cabinet, location, host, model or month, what is behind it, and payback."""

from collections.abc import Callable
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import SimpleLazyObject

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.earnings import queries_groups, rules
from routeapp.earnings.forms import ProfitForm
from routeapp.earnings.queries_groups import GROUPINGS, Row
from routeapp.earnings.queries_payback import Payback, payback_of, paybacks
from routeapp.earnings.queries_profit import Profit
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_profit import TAKE, Amount, Part, Statement, added_up
from routeapp.kit import clock, memory
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.htmx import page
from routeapp.kit.tables import Column, Table


def _today(request: HttpRequest) -> date:
    return clock.local_day(clock.now(), request.business.time_zone)


def statement_table(grouping: str, total: Statement, days: str) -> Table:
    """A column for each line that has an amount; each figure opens what is behind it."""
    amounts = reverse("profit-amounts")

    def behind(part: str = "") -> Callable[[Row], str]:
        return lambda row: f"{amounts}?{days}&{urlencode({'by': grouping, 'key': row.ref, 'part': part})}"

    def figure(part: Part) -> Column:
        opens = behind(part.value)
        return Column(
            part.value,
            part.label,
            lambda row: row.statement.parts.get(part),
            "cash",
            link=lambda row: opens(row) if part in row.statement.parts else "",
            adds_up=True,
        )

    label = GROUPINGS[grouping].label.removeprefix("By ").capitalize()
    return Table(
        f"profit by {grouping}",
        (
            Column("name", label, "name", link=_page_of(grouping) or behind(), order=_by_key(grouping)),
            Column("profit", "Profit", "statement.profit", "cash", link=behind(), adds_up=True),
            *(figure(part) for part in Part if part in total.parts),
        ),
        hint=label,
        brief=True,
    )


def _by_key(grouping: str) -> Any:
    return False if grouping == "month" else ""


def _page_of(grouping: str) -> Callable[[Row], str] | None:
    """The profit page of a cabinet or location."""
    if grouping == "cabinet":
        return lambda row: reverse("cabinet-profit", args=[row.name]) if row.key is not None else ""
    if grouping == "location":
        return lambda row: reverse("location-profit", args=[row.key]) if row.key is not None else ""
    return None


@allow(OWNER, BOOKKEEPER)
def profit(request: HttpRequest) -> HttpResponse:
    today = _today(request)
    form = ProfitForm(request.GET, today=today)
    found = Profit(form.span, request.business.time_zone)
    if request.GET.get("as") == "csv":
        table = statement_table(form.grouping, added_up(found.amounts), form.days())
        return table.answer(request, "", queries_groups.rows(found, form.grouping))
    context = {
        "form": form,
        "names": rules.NAMED,
        "when": rules.in_words(form.span, today),
        "groupings": GROUPINGS,
        "shown": SimpleLazyObject(lambda: _shown(found, form, request.GET)),
        "key": memory.key(request, today),
    }
    return page(request, "routeapp/earnings/profit.html", context, _part(request))


def _part(request: HttpRequest) -> str:
    return "rows" if request.htmx.target == "rows" else "report"


def _shown(found: Profit, form: ProfitForm, address: Any) -> dict[str, Any]:
    overview, rows = queries_groups.overview(found), queries_groups.rows(found, form.grouping)
    return {
        "overview": overview,
        "total": overview.total,
        "table": statement_table(form.grouping, overview.total, form.days()).shown(address, rows),
    }


def amounts_table(found: Profit) -> Table:
    def code(one: Amount) -> str:
        return "" if one.machine is None else found.machines[one.machine].code

    def place(one: Amount) -> str:
        return "" if one.location is None else found.locations[one.location].name

    return Table(
        "profit amounts",
        (
            Column("day", "Day", "day", "day"),
            Column("line", "Line", lambda one: Part(one.part).label, link=lambda one: _to(one, code(one))),
            Column("cents", "Amount", "cents", "cash", adds_up=True),
            Column("cabinet", "Cabinet", code),
            Column("location", "Location", place),
            Column("what", "What", "what"),
        ),
        hint="Line, cabinet, location or what it was",
    )


def _to(one: Amount, code: str) -> str:
    """The page an amount comes from: the service entries of that day, or the paper it names."""
    name, argument = one.to
    if one.part in TAKE:
        about = {"since": one.day, "until": one.day, **({"cabinet": code} if code else {})}
        return f"{reverse(name)}?{urlencode(about)}"
    return reverse(name, args=[argument] if argument else [])


@allow(OWNER, BOOKKEEPER)
def profit_amounts(request: HttpRequest) -> HttpResponse:
    today = _today(request)
    form = ProfitForm(request.GET, today=today)
    found = Profit(form.span, request.business.time_zone)
    ref, part = (form.cleaned_data.get(name) or "" for name in ("key", "part"))
    behind = queries_groups.behind(found, form.grouping, ref, part)
    context = {
        "form": form,
        "names": rules.NAMED,
        "when": rules.in_words(form.span, today),
        "total": sum(one.cents for one in behind),
        "what": Part(part).label if part else "Profit",
        "whose": queries_groups.name_of(found, form.grouping, ref),
    }
    table = amounts_table(found)
    if request.GET.get("as") == "csv":
        return table.answer(request, "", behind)
    context["table"] = table.shown(request.GET, behind)
    return page(request, "routeapp/earnings/profit_amounts.html", context, _part(request))


def _weeks(one: Payback) -> str:
    """How long yet, in words short enough for a table."""
    if one.cost is None:
        return "no cost known"
    if one.is_paid_back:
        return "paid back"
    ahead = one.ahead
    if ahead is None:
        return "too early to say" if one.months else "not started"
    if ahead.weeks is None:
        return "not at this pace"
    return f"{ahead.weeks:,.0f} ({_from_to(ahead.least, ahead.most)})"


def _from_to(least: float | None, most: float | None) -> str:
    return f"{least or 0:,.0f} to {most:,.0f}" if most else f"{least or 0:,.0f} or more"


def _rate(one: Payback) -> str:
    if one.rate is None or (one.rate.rate is None and not one.rate.many):
        return ""
    return "no single rate" if one.rate.rate is None else f"{100 * one.rate.rate:,.0f} % a year".replace("-", "−")


PAYBACK = Table(
    "payback",
    (
        Column(
            "cabinet",
            "Cabinet",
            "machine.code",
            link=lambda one: reverse("cabinet-profit", args=[one.machine.code]),
        ),
        Column("model", "Model", "machine.model.name"),
        Column("cost", "Cost", "cost", "cash", adds_up=True),
        Column("earned", "Earned so far", "earned", "cash", adds_up=True),
        Column("missing", "Missing", lambda one: one.missing if one.cost is not None else None, "cash", adds_up=True),
        Column("weeks", "Weeks left", _weeks, order=False),
        Column("since", "Paid back", lambda one: one.paid_back_in and f"{one.paid_back_in:%B %Y}", order=False),
        Column("rate", "Return so far", _rate, order=False),
    ),
    hint="Cabinet or model",
)


@allow(OWNER, BOOKKEEPER)
def profit_payback(request: HttpRequest) -> HttpResponse:
    today = _today(request)
    if request.GET.get("as") == "csv":
        return PAYBACK.answer(request, "", _paybacks(request, today))
    shown = SimpleLazyObject(lambda: _payback_shown(request, today))
    context = {"shown": shown, "key": memory.key(request, today)}
    return page(request, "routeapp/earnings/payback.html", context, _part(request))


def _paybacks(request: HttpRequest, today: date) -> list[Payback]:
    found = paybacks(today, request.business.time_zone)
    return sorted(found, key=lambda one: (one.cost is None, one.missing, one.machine.code))


def _payback_shown(request: HttpRequest, today: date) -> dict[str, Any]:
    found = _paybacks(request, today)
    known = [one for one in found if one.cost is not None]
    return {
        "known": len(known),
        "back": sum(one.is_paid_back for one in known),
        "unknown": len(found) - len(known),
        "missing": sum(one.missing for one in known),
        "table": PAYBACK.shown(request.GET, found),
    }


@allow(OWNER, BOOKKEEPER)
def cabinet_profit(request: HttpRequest, code: str) -> HttpResponse:
    machine = get_object_or_404(Machine.objects.select_related("model"), code=code.upper())
    today, zone = _today(request), request.business.time_zone
    context = {
        "machine": machine,
        "shown": SimpleLazyObject(lambda: _of_cabinet(machine, today, zone)),
        "key": memory.key(request, today),
    }
    return page(request, "routeapp/earnings/profit_cabinet.html", context, "report")


def _of_cabinet(machine: Machine, today: date, zone: str) -> dict[str, Any]:
    payback, amounts = payback_of(machine, today, zone)
    months = queries_groups.months(amounts, today)
    return {"payback": payback, "weeks": _weeks(payback), "rate": _rate(payback), "months": months}


@allow(OWNER, BOOKKEEPER)
def location_profit(request: HttpRequest, pk: int) -> HttpResponse:
    location, today = get_object_or_404(Location.objects.select_related("host"), pk=pk), _today(request)
    context = {
        "location": location,
        "shown": SimpleLazyObject(lambda: _of_location(pk, today, request.business.time_zone)),
        "key": memory.key(request, today),
    }
    return page(request, "routeapp/earnings/profit_location.html", context, "report")


def _of_location(pk: int, today: date, zone: str) -> dict[str, Any]:
    span = Span(rules.twelve_months(today).since, today)
    found = Profit(span, zone, [pk])
    amounts = [one for one in found.amounts if one.location == pk]
    there = [one for one in queries_groups.kept(found) if one.key in {amount.machine for amount in amounts}]
    return {"months": queries_groups.months(amounts, today), "lacking": queries_groups.Lacking(there)}
