"""Pages that bring a cabinet to a location and take it away again."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from locations.placements.models import Placement
from locations.placements.queries import placed_at
from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.kit import clock
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done
from routeapp.visits import actions_assign as actions
from routeapp.visits.forms_assign import AssignForm, ChooseForm, EndForm, WithdrawForm


@allow(OWNER, ROUTE_HAND)
def placement_assign(request: HttpRequest) -> HttpResponse:
    named = {"cabinet", "location"} <= request.GET.keys()
    choice = ChooseForm(request.GET if named else None, initial=request.GET.dict())
    # A form sent twice finds its cabinet placed already, and that is right: only the first look asks.
    if choice.is_valid() and (request.method == "POST" or choice.is_free()):
        return assign(request, choice.cleaned_data["cabinet"], choice.cleaned_data["location"])
    return ask(request, "routeapp/visits/assign.html", choice, choosing=True)


def assign(request: HttpRequest, machine: Machine, location: Location) -> HttpResponse:
    """The second step: the cabinet and the location are chosen."""
    now, about = clock.now(), {"machine": machine, "location": location}
    form = AssignForm(**sent(request), **about, person=request.user, now=now)
    if form.is_valid() and accepted(
        form,
        actions.assign,
        **about,
        **{name: form.cleaned_data[name] for name in ("uuid", "spot", "from_place", "at")},
        readings=form.readings(),
        found=form.found(),
        loaded=form.loaded(),
        by=request.user,
        received_at=now,
    ):
        return done(request, f"{machine} stands at {location} now.", "location", location.pk)
    neighbours = placed_at(location)
    watts = sum(one.machine.model.watts or 0 for one in neighbours)
    return ask(request, "routeapp/visits/assign.html", form, **about, neighbours=neighbours, watts=watts)


@allow(OWNER, ROUTE_HAND)
def placement_end(request: HttpRequest, pk: int) -> HttpResponse:
    placement = get_object_or_404(Placement.objects.select_related("machine__model", "location"), pk=pk)
    now, about = clock.now(), {"machine": placement.machine, "location": placement.location}
    if placement.ended_at and request.method == "GET":
        return done(request, f"{placement} has ended already.", "location", placement.location_id)
    form = EndForm(**sent(request), **about, person=request.user, now=now, newest=placement.started_at)
    if form.is_valid() and accepted(
        form,
        actions.take_away,
        placement=placement,
        **{name: form.cleaned_data[name] for name in ("because", "next_status", "to_place", "at")},
        readings=form.readings(),
        found=form.found(),
        by=request.user,
        received_at=now,
    ):
        return done(request, f"{placement.machine} left {placement.location}.", "location", placement.location_id)
    return ask(request, "routeapp/visits/placement_end.html", form, **about, placement=placement)


@allow(OWNER)
def placement_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back a placement that was typed wrongly."""
    placement = get_object_or_404(Placement.objects.select_related("machine", "location"), pk=pk)
    form = WithdrawForm(**sent(request))
    if form.is_valid() and accepted(
        form,
        actions.withdraw,
        placement=placement,
        reason=form.cleaned_data["reason"],
        by=request.user,
        at=clock.now(),
    ):
        return done(request, "Withdrawn. What it said stays readable.", "cabinet", placement.machine.code)
    return ask(request, "routeapp/visits/placement_withdraw.html", form, placement=placement)
