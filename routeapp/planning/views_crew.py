"""Pages of who drives what and when, and of what people want of all plans."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from routeapp.kit import clock
from routeapp.kit.access import OWNER, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done
from routeapp.kit.people import called
from routeapp.kit.tables import Column, Table
from routeapp.planning import actions_crew as crew
from routeapp.planning import queries_crew as queries
from routeapp.planning.forms_crew import DriverForm, PinForm, VehicleForm
from routeapp.planning.models_rounds import Pin, Vehicle


def _driver(person: Any) -> Any:
    return getattr(person, "driver", None)


PEOPLE = Table(
    "who drives",
    (
        Column(
            "name",
            "Name",
            called,
            order="first_name",
            link=lambda one: reverse("crew-edit", args=[one.pk]),
        ),
        Column("vehicle", "Vehicle", lambda one: str(getattr(_driver(one), "vehicle", None) or ""), order=False),
        Column("from", "Sets out from", lambda one: getattr(_driver(one), "start_name", ""), order=False),
        Column("shifts", "On the road", lambda one: queries.shifts_in_words(_driver(one)), order=False),
    ),
    find=("first_name", "username"),
    hint="Name",
)


@allow(OWNER)
def crew_list(request: HttpRequest) -> HttpResponse:
    told = {"vehicles": queries.vehicles(), "page": "crew"}
    return PEOPLE.answer(request, "routeapp/planning/crew_list.html", queries.people(), **told)


@allow(OWNER)
def crew_edit(request: HttpRequest, pk: int) -> HttpResponse:
    person = get_object_or_404(queries.people(), pk=pk)
    form = DriverForm(**sent(request), driver=_driver(person))
    if form.is_valid() and accepted(
        form,
        crew.save_driver,
        person=person,
        hours=form.hours,
        **form.columns(),
        by=request.user,
        at=clock.now(),
    ):
        return done(request, "Saved. Plans made from now on go by it.", "crew")
    return ask(request, "routeapp/planning/crew_edit.html", form, person=person)


@allow(OWNER)
def vehicle_add(request: HttpRequest) -> HttpResponse:
    return _vehicle(request, None)


@allow(OWNER)
def vehicle_edit(request: HttpRequest, pk: int) -> HttpResponse:
    return _vehicle(request, get_object_or_404(Vehicle, pk=pk))


def _vehicle(request: HttpRequest, vehicle: Vehicle | None) -> HttpResponse:
    form = VehicleForm(**sent(request), vehicle=vehicle)
    said = {"by": request.user, "at": clock.now()}
    if form.is_valid() and accepted(form, crew.save_vehicle, vehicle=vehicle, **form.cleaned_data, **said):
        return done(request, f"{form.cleaned_data['name']}: saved.", "crew")
    return ask(request, "routeapp/planning/vehicle_form.html", form, vehicle=vehicle)


@allow(OWNER)
def pins(request: HttpRequest) -> HttpResponse:
    """What is wanted of all plans, and wanting more."""
    now = clock.now()
    form = PinForm(**sent(request), initial={"location": request.GET.get("location")})
    if form.is_valid() and accepted(form, crew.pin, **form.cleaned_data, by=request.user, at=now):
        return done(request, "The next plan goes by it.", "pins")
    day = clock.local_day(now, timezone.get_current_timezone_name())
    return ask(request, "routeapp/planning/pin_list.html", form, pins=queries.pins(day), today=day)


@allow(OWNER)
@require_POST
def pin_lift(request: HttpRequest, pk: int) -> HttpResponse:
    crew.lift(pin=get_object_or_404(Pin, pk=pk), by=request.user, at=clock.now())
    return done(request, "Lifted.", "pins")
