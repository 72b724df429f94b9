"""Pages of depreciation: one year of all cabinets, all years of one cabinet, and what was decided about it."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from machines.cabinets.models import Machine
from machines.depreciation import actions, queries
from machines.depreciation.forms import ChoiceForm, hint, initial
from machines.depreciation.queries import Share
from machines.depreciation.rules import Spread, Year
from machines.depreciation.rules_tables import allowance_on
from routeapp.kit import clock, money
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done
from routeapp.kit.tables import Column, Table

FIRST_YEAR, LAST_YEAR = 1987, 2200


def _method(share: Share) -> str:
    if share.spread:
        return share.spread.choice.method
    return "" if share.cost is None else "undecided"


METHODS = {"straight": "Equal parts", "table": "Percentages", "undecided": "To be decided", "": "No cost known"}

YEAR = Table(
    "depreciation",
    (
        Column(
            "cabinet",
            "Cabinet",
            "machine.code",
            link=lambda one: reverse("cabinet-depreciation", args=[one.machine.code]),
        ),
        Column("service", "In service", lambda one: one.spread and one.spread.choice.in_service, "day"),
        Column("cost", "Cost", "cost", "cash", adds_up=True),
        Column("before", "Taken before", "before", "cash", adds_up=True),
        Column("chosen", "This year", "chosen", "cash", adds_up=True),
        Column("left", "Left after it", "left", "cash", adds_up=True),
        Column("tabled", "By percentages", "tabled", "cash", adds_up=True),
        Column(
            "method",
            "Figures use",
            lambda one: METHODS[_method(one)],
            "state",
            shape=lambda one: "none" if one.spread else "warn",
        ),
    ),
    hint="Cabinet",
)


def _year(request: HttpRequest) -> int:
    text, now = request.GET.get("year", ""), clock.local_day(clock.now(), request.business.time_zone).year
    year = int(text) if text.isdecimal() and len(text) < 5 else now
    return year if FIRST_YEAR <= year <= LAST_YEAR else now


@allow(OWNER, BOOKKEEPER)
def depreciation(request: HttpRequest) -> HttpResponse:
    year = _year(request)
    rows, test = queries.shares(year, request.business.time_zone)
    context = {
        "year": year,
        "total": sum(one.chosen or 0 for one in rows),
        "undecided": sum(one.spread is None for one in rows),
        "test": test,
        "any": bool(rows),
    }
    return YEAR.answer(request, "machines/depreciation/year.html", rows, **context)


def years_table(spread: Spread | None) -> Table:
    """All years of one cabinet: by each way what it takes and what is left."""
    tabled = {one.year: one for one in spread.tabled} if spread else {}
    straight = {one.year: one for one in spread.straight} if spread else {}

    def left(years: dict[int, Year], year: int) -> int | None:
        taken = sum(one.cents for one in years.values() if one.year <= year)
        return spread.choice.cost - taken if spread and years else None

    def rate(year: int) -> str:
        one = tabled.get(year)
        return f"{(one.rate_bp or 0) / 100:.2f} %" if one else ""

    def cents(years: dict[int, Year]) -> Any:
        return lambda year: years[year].cents if year in years else None

    special = Column("special", "Special, of it", lambda year: _special(tabled, year), "cash", adds_up=True)
    return Table(
        "depreciation of one cabinet",
        (
            Column("year", "Year", str),
            Column("straight", "In equal parts", cents(straight), "cash", adds_up=True),
            Column("straight_left", "Left, equal parts", lambda year: left(straight, year), "cash"),
            Column("rate", "Table rate", rate),
            *([special] if any(one.special for one in tabled.values()) else []),
            Column("tabled", "By percentages", cents(tabled), "cash", adds_up=True),
            Column("tabled_left", "Left, percentages", lambda year: left(tabled, year), "cash"),
        ),
    )


def _special(years: dict[int, Year], year: int) -> int | None:
    return years[year].special or None if year in years else None


@allow(OWNER, BOOKKEEPER)
def cabinet_depreciation(request: HttpRequest, code: str) -> HttpResponse:
    machine = _machine(code)
    spread = queries.spreads_of(request.business.time_zone).get(machine.pk)
    years = sorted({one.year for one in (*spread.straight, *spread.tabled)}) if spread else []
    context = {
        "machine": machine,
        "choice": queries.choice_of(machine),
        "spread": spread,
        "cost": queries.costs([machine.pk]).get(machine.pk),
    }
    return years_table(spread).answer(request, "machines/depreciation/cabinet.html", years, **context)


@allow(OWNER, BOOKKEEPER)
def depreciation_choose(request: HttpRequest, code: str) -> HttpResponse:
    machine, zone = _machine(code), request.business.time_zone
    choice, in_service = queries.choice_of(machine), queries.first_in_service(machine, zone)
    landed = machine.bought.cost_cents if hasattr(machine, "bought") else None
    words = "" if landed is None else money.as_text(landed)
    form = ChoiceForm(**sent(request), initial=initial(choice, in_service), landed=words)
    if form.is_valid() and accepted(
        form, actions.choose_depreciation, machine=machine, **form.said(), by=request.user, at=clock.now()
    ):
        return done(request, f"The depreciation of {machine} is written down.", "cabinet-depreciation", machine.code)
    day = choice.in_service_on if choice else in_service
    published = allowance_on(day) if day else None
    context = {"machine": machine, "hint": hint(day), "source": published.source if published else ""}
    return ask(request, "machines/depreciation/choose.html", form, **context)


def _machine(code: str) -> Machine:
    return get_object_or_404(Machine.objects.select_related("model", "bought"), code=code.upper())
