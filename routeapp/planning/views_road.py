"""A round while it is driven: its load list, stops skipped, its end, and the same for a phone without a network."""

import json
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST
from pydantic import ValidationError

from locations.sites.models import Location
from routeapp.kit import clock
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page
from routeapp.planning import actions_road, queries_end, queries_load, queries_phone, rules_note
from routeapp.planning.forms_plan import SkipForm, TickForm
from routeapp.planning.models_rounds import Skip
from routeapp.planning.rules_note import SkipNote, TickNote
from routeapp.planning.views_rounds import shown_or_404


@allow(OWNER, ROUTE_HAND)
def round_load(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What goes into the van; each line is ticked as it goes in."""
    shown = shown_or_404(request, uuid)
    context = {"shown": shown, "load": queries_load.load_list(shown, clock.now())}
    return page(request, "routeapp/planning/round_load.html", context, part="lines")


@allow(OWNER, ROUTE_HAND)
@require_POST
def round_tick(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One line ticked or unticked by its own button."""
    shown, now = shown_or_404(request, uuid), clock.now()
    form = TickForm(request.POST)
    try:
        if not form.is_valid():
            raise Refused("That line could not be read. Nothing was changed.")
        actions_road.take_note(note=_tick(form.cleaned_data, shown.round.pk, now), by=request.user, at=now)
    except ValidationError:
        messages.error(request, "That is no line of a load list. Nothing was changed.")
    except Refused as refusal:
        messages.error(request, refusal.message)
    return redirect("round-load", uuid)


def _tick(said: dict[str, Any], round_id: UUID, now: Any) -> TickNote:
    parts = {"line": said["line"], "on": said["on"], "pieces": said["pieces"] or 0, "from_place": said["from_place"]}
    return TickNote(id=said["uuid"], round=round_id, at=now, kind="tick", **parts)


@allow(OWNER, ROUTE_HAND)
def round_skip(request: HttpRequest, uuid: UUID, pk: int) -> HttpResponse:
    """Say why nobody stops there."""
    shown, location = shown_or_404(request, uuid), get_object_or_404(Location, pk=pk)
    form, now = SkipForm(**sent(request)), clock.now()
    if form.is_valid():
        said = {"id": form.cleaned_data["uuid"], "round": shown.round.pk, "at": now}
        note = SkipNote(kind="skip", location=pk, reason=form.cleaned_data["reason"], **said)
        if accepted(form, actions_road.take_note, note=note, by=request.user, at=now):
            return done(request, f"{location} is skipped.", "round", uuid)
    return ask(request, "routeapp/planning/round_skip.html", form, shown=shown, location=location)


@allow(OWNER, ROUTE_HAND)
@require_POST
def round_unskip(request: HttpRequest, uuid: UUID, pk: int) -> HttpResponse:
    """The stop is ahead again."""
    shown = shown_or_404(request, uuid)
    for skip in Skip.objects.live().filter(round=shown.round, location=pk):
        actions_road.undo_skip(skip=skip, by=request.user, at=clock.now())
    return done(request, "It is ahead again.", "round", uuid)


@allow(OWNER, ROUTE_HAND)
def round_end(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What is left to do at the end: bags to hand over, the van to count, stops that nobody made."""
    shown = shown_or_404(request, uuid)
    context = {"shown": shown, "end": queries_end.end(shown)}
    return page(request, "routeapp/planning/round_end.html", context)


@allow(OWNER, ROUTE_HAND)
@never_cache
@require_GET
def sync_round(request: HttpRequest, uuid: UUID) -> JsonResponse:
    """A round to take along: its stops in order and its load list. The stops themselves come from sync-stop."""
    shown = shown_or_404(request, uuid)
    return JsonResponse({"round": {**queries_phone.told(shown, clock.now()), "person": request.user.pk}})


@allow(OWNER, ROUTE_HAND)
@never_cache
@require_POST
def sync_road(request: HttpRequest) -> JsonResponse:
    """A note from the road, answered as visits are: 201 made, 200 the same again, 409 same id with another content,
    422 with messages by field."""
    try:
        note = rules_note.read(json.loads(request.POST.get("document", "")))
    except ValidationError as error:
        return _invalid(rules_note.problems(error))
    except (ValueError, RecursionError):
        return _invalid({"": "The note could not be read."})
    try:
        made = actions_road.take_note(note=note, by=request.user, at=clock.now())
    except actions_road.Clash as clash:
        return JsonResponse({"id": str(note.id), "errors": {"id": clash.message}}, status=409)
    except Refused as refusal:
        return _invalid({refusal.field or "": refusal.message})
    return JsonResponse({"id": str(note.id), "questions": {}}, status=201 if made else 200)


def _invalid(errors: dict[str, Any]) -> JsonResponse:
    return JsonResponse({"errors": errors}, status=422)
