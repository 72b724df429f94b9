"""The mileage log, and what a mile or kilometre is worth."""

from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_POST

from routeapp.cash.forms import DaysForm
from routeapp.expenses import actions, queries, rules
from routeapp.expenses.forms import RateForm, TripForm
from routeapp.expenses.models import MileageRate, Trip
from routeapp.expenses.rules import STANDARD, Unit
from routeapp.kit import clock, money
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, allow, may
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done
from routeapp.kit.tables import Column, Table, person
from routeapp.kit.units import Units

TRIPS = Table(
    "mileage log",
    (
        Column("day", "Day", "trip.day", "day"),
        Column("driver", "Driver", person("trip.driver")),
        Column("way", "From where to where", "trip.way"),
        Column("purpose", "Purpose", "trip.purpose"),
        Column("distance", "Distance", "distance", order=False),
        Column("how", "How known", lambda one: "read off the car" if one.trip.measured else "estimated"),
        Column("rate", "Rate", lambda one: one.rate.words if one.rate else "none known"),
        Column("cents", "Comes to", "cents", "cash", adds_up=True),
    ),
    hint="Driver, place or purpose",
)


def _today() -> date:
    return timezone.localdate(clock.now())


@allow(*EVERYONE)
def trips(request: HttpRequest) -> HttpResponse:
    """A route hand sees the own trips; the office all."""
    asked = request.GET if {"since", "until"} & request.GET.keys() else {"since": _today().replace(month=1, day=1)}
    days = DaysForm(asked, today=_today())
    mine = None if may(request.user, OWNER, BOOKKEEPER) else request.user
    logged = queries.log(days.first, days.last, mine)
    context = {
        "days": days,
        "distances": queries.distances(logged),
        "total": sum(one.cents or 0 for one in logged),
        "without_rate": sum(one.rate is None for one in logged),
    }
    return TRIPS.answer(request, "routeapp/expenses/trip_list.html", logged, **context)


def _proposed(address: Any) -> dict[str, Any]:
    """What a page that knows of a drive proposes in its link."""
    given = {name: address.get(name, "").replace("\0", "")[:500] for name in ("day", "driver", "way", "unit")}
    tenths = address.get("tenths", "")
    given["tenths"] = f"{int(tenths) / 10:.1f}" if tenths.isdecimal() and len(tenths) < 6 else ""
    return {name: value for name, value in given.items() if value}


@allow(*EVERYONE)
def trip_add(request: HttpRequest) -> HttpResponse:
    unit = Unit.MILE if request.business.units == Units.CUSTOMARY else Unit.KILOMETRE
    first = {"day": _today(), "driver": request.user.pk, "unit": unit} | _proposed(request.GET)
    form = TripForm(**sent(request), today=_today(), initial=first)
    if form.is_valid() and accepted(form, actions.note_trip, **form.cleaned_data, by=request.user, at=clock.now()):
        return done(request, "The trip is in the log.", "trips")
    return ask(request, "routeapp/expenses/trip_form.html", form, proposed="tenths" in first)


@allow(OWNER, BOOKKEEPER)
@require_POST
def trip_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    trip = get_object_or_404(Trip, pk=pk)
    actions.withdraw_trip(trip=trip, by=request.user, at=clock.now())
    return done(request, "Withdrawn from the log.", "trips")


@allow(OWNER, BOOKKEEPER)
def rates(request: HttpRequest) -> HttpResponse:
    form = RateForm(**sent(request))
    if form.is_valid() and accepted(form, actions.set_rate, **form.cleaned_data, by=request.user, at=clock.now()):
        return done(request, "The rate is written down.", "mileage-rates")
    context = {
        "own": queries.rates(),
        "standard": STANDARD[::-1] if money.active() == "USD" else (),
        "now": rules.rate_on(_today(), queries.own_rates(), money.active()),
    }
    return ask(request, "routeapp/expenses/rate_list.html", form, **context)


@allow(OWNER, BOOKKEEPER)
@require_POST
def rate_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    rate = get_object_or_404(MileageRate, pk=pk)
    actions.withdraw_rate(rate=rate, by=request.user, at=clock.now())
    return done(request, "Withdrawn. Trips of its days count by the rate that now holds.", "mileage-rates")
