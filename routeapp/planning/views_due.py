"""What is due, where and why; and what one location waits for."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_POST

from locations.sites.models import Location
from routeapp.kit import clock
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, ROUTE_HAND, allow, may
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page
from routeapp.kit.tables import Column, Table
from routeapp.planning import actions_due, queries_due
from routeapp.planning.forms_due import PromiseForm, ToDoForm
from routeapp.planning.models_due import Promise, ToDo

SHAPES = {"late": "bad", "now": "bad", "soon": "warn"}
PLACE = Column("location", "Location", "location.name", link=lambda row: reverse("due-place", args=[row.location.pk]))
WHY = Column("why", "Why", "why", order=False)
WHY_IN_FULL = Column("why", "Why", "why_in_full", order=False)
BY = Column("by", "No later than", "by", "day")
STATE = Column("state", "When", "state", "state", shape=lambda row: SHAPES[row.state])
LOSES = Column("loses", "Loses a day", "cents", "cash", adds_up=True)
VISITED = Column("visited", "Last visit", "visited", "moment", zone="location.time_zone")
FOR_HANDS = Table("due", (PLACE, STATE, WHY, BY, VISITED), hint="Location, cabinet or reason")
FOR_OFFICE = Table("due", (PLACE, STATE, WHY_IN_FULL, LOSES, BY, VISITED), hint="Location, cabinet or reason")


@allow(*EVERYONE)
def due(request: HttpRequest) -> HttpResponse:
    """What waiting costs is profit, and what hosts are owed is their share: route hands see neither."""
    rows = queries_due.due(clock.now())
    office = may(request.user, OWNER, BOOKKEEPER)
    told = {
        "number": len(rows),
        "bad": sum(row.bad for row in rows),
        "cents": sum(row.cents for row in rows) if office else None,
    }
    return (FOR_OFFICE if office else FOR_HANDS).answer(request, "routeapp/planning/due_list.html", rows, **told)


@allow(*EVERYONE)
def due_place(request: HttpRequest, pk: int) -> HttpResponse:
    location = get_object_or_404(Location.objects.select_related("host"), pk=pk)
    return ask(request, "routeapp/planning/due_place.html", ToDoForm(), **_told(request, location))


def _told(request: HttpRequest, location: Location) -> dict[str, Any]:
    row = next((one for one in queries_due.due(clock.now()) if one.location == location), None)
    promised = Promise.objects.live().filter(location=location).first()
    initial = {"every_days": promised.every_days, "note": promised.note} if promised else None
    return {
        "location": location,
        "row": row,
        "promised": promised,
        "promise_form": PromiseForm(initial=initial),
        "to_dos": queries_due.open_to_dos([location.pk]),
        "office": may(request.user, OWNER, BOOKKEEPER),
    }


@require_POST
@allow(OWNER, ROUTE_HAND)
def to_do_add(request: HttpRequest, pk: int) -> HttpResponse:
    location = get_object_or_404(Location, pk=pk)
    form, facts = ToDoForm(**sent(request)), {"by": request.user, "at": clock.now()}
    if form.is_valid() and accepted(form, actions_due.note_to_do, location=location, **form.cleaned_data, **facts):
        return done(request, "Noted for the next visit.", "due-place", location.pk)
    return ask(request, "routeapp/planning/due_place.html", form, **_told(request, location))


@require_POST
@allow(OWNER, ROUTE_HAND)
def to_do_done(request: HttpRequest, pk: int) -> HttpResponse:
    to_do = get_object_or_404(ToDo.objects.live(), pk=pk)
    actions_due.finish_to_do(to_do=to_do, by=request.user, at=clock.now())
    return done(request, f"{to_do}: done.", "due-place", to_do.location_id)


@require_POST
@allow(OWNER)
def promise(request: HttpRequest, pk: int) -> HttpResponse:
    location = get_object_or_404(Location, pk=pk)
    form, facts = PromiseForm(**sent(request)), {"by": request.user, "at": clock.now()}
    if form.is_valid() and accepted(form, actions_due.promise, location=location, **form.cleaned_data, **facts):
        return done(request, "The promise is written down.", "due-place", location.pk)
    told = {**_told(request, location), "promise_form": form, "form": ToDoForm()}
    return page(request, "routeapp/planning/due_place.html", told, status=422)


@require_POST
@allow(OWNER)
def promise_away(request: HttpRequest, pk: int) -> HttpResponse:
    location = get_object_or_404(Location, pk=pk)
    actions_due.take_back_promise(location=location, by=request.user, at=clock.now())
    return done(request, "Nothing is promised any more.", "due-place", location.pk)
