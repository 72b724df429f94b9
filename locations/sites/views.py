"""Pages of locations, except the page of one, which shows features above this one."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from locations.sites import actions, queries
from locations.sites.forms import DayForm, LocationForm, like_monday
from locations.sites.models import Location, Weekday
from routeapp.kit import clock, htmx
from routeapp.kit.access import EVERYONE, OWNER, ROUTE_HAND, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.tables import Column, Table

NAMED = (
    Column("name", "Location", "name", link=lambda location: reverse("location", args=[location.pk])),
    Column("host", "Host", "host.name"),
    Column("address", "Address", lambda location: ", ".join(location.address.split("\n")), order="address"),
)
CABINETS = Column("cabinets", "Cabinets", "cabinets", "count")
LOCATIONS = Table("locations", (*NAMED, CABINETS), hint="Name, host or street", mark="location")
CLOSED = Table("closed locations", (*NAMED, Column("closed", "Closed since", "closed_on", "day")), hint=LOCATIONS.hint)


@allow(*EVERYONE)
def locations(request: HttpRequest) -> HttpResponse:
    closed = "closed" in request.GET
    rows = partial(queries.locations, closed=closed)
    table = CLOSED if closed else LOCATIONS
    return table.answer(request, "locations/sites/location_list.html", rows, closed=closed)


@allow(OWNER, ROUTE_HAND)
def location_add(request: HttpRequest) -> HttpResponse:
    initial = {"time_zone": timezone.get_current_timezone_name(), "host": request.GET.get("host")}
    form = LocationForm(**sent(request), initial=initial)
    if form.is_valid() and (
        made := accepted(form, actions.add_location, **form.cleaned_data, by=request.user, at=clock.now())
    ):
        return htmx.done(request, f"{made} is added. When is it open?", "location-hours", made.pk)
    return _form(request, form)


@allow(OWNER, ROUTE_HAND)
def location_edit(request: HttpRequest, pk: int) -> HttpResponse:
    location = get_object_or_404(Location, pk=pk)
    form = LocationForm(**sent(request), instance=location)
    said = {"location": location, "by": request.user, "at": clock.now()}
    if form.is_valid() and accepted(form, actions.edit_location, **form.cleaned_data, **said):
        return htmx.done(request, "Saved.", "location", pk)
    return _form(request, form, location)


def _form(request: HttpRequest, form: LocationForm, location: Location | None = None) -> HttpResponse:
    return htmx.ask(request, "locations/sites/location_form.html", form, location=location)


@allow(OWNER, ROUTE_HAND)
def location_hours(request: HttpRequest, pk: int) -> HttpResponse:
    location = get_object_or_404(Location, pk=pk)
    known, copying = queries.stretches(location), "copy" in request.POST
    bound = {"data": like_monday(request.POST)} if copying else sent(request)
    days = [DayForm(day=day, stretches=known.get(day.value, ()), **bound) for day in Weekday]
    valid = all([day.is_valid() for day in days])  # a list, so that every day shows what is wrong with it
    if valid and not copying:
        hours = {day.day.value: day.stretches for day in days}
        actions.set_hours(location=location, hours=hours, by=request.user, at=clock.now())
        return htmx.done(request, "The hours are saved.", "location", pk)
    context = {"location": location, "days": days, "copied": copying}
    status = 422 if bound and not copying else 200
    return htmx.page(request, "locations/sites/location_hours.html", context, status=status)


@allow(OWNER)
@require_POST
def location_close(request: HttpRequest, pk: int) -> HttpResponse:
    location, now = get_object_or_404(Location, pk=pk), clock.now()
    try:
        actions.close_location(location=location, day=clock.local_day(now, location.time_zone), by=request.user, at=now)
    except Refused as refusal:
        return htmx.refused(request, refusal, "location", pk)
    return htmx.done(request, f"{location} is closed. Its history stays.", "location", pk)
