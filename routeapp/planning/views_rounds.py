"""Rounds: the list, one round on the phone and at the table, its changes, its paper."""

from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from routeapp.kit import clock
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import sent
from routeapp.kit.htmx import ask, done, page, refused
from routeapp.kit.tables import Column, Table, person
from routeapp.planning import actions_changes, actions_rounds, queries_found, queries_load, queries_rounds
from routeapp.planning.forms_plan import ChangeForm
from routeapp.planning.queries_rounds import RoundShown


def shown_or_404(request: HttpRequest, uuid: UUID) -> RoundShown:
    """A round the person may see; everybody else's is not there."""
    shown = queries_rounds.one(request.user, uuid)
    if shown is None:
        raise Http404
    return shown


def _today(request: HttpRequest) -> Any:
    return clock.local_day(clock.now(), timezone.get_current_timezone_name())


@allow(OWNER, ROUTE_HAND)
def rounds(request: HttpRequest) -> HttpResponse:
    today = _today(request)
    found = queries_rounds.listed(request.user, today)
    table = Table(
        "rounds",
        (
            Column("day", "Day", "round.day", "day", link=lambda one: reverse("round", args=[one.uuid])),
            Column("who", "Who", person("round.person")),
            Column("stops", "Stops", "number", "count"),
            Column("done", "Done", "done", "count"),
            Column("leaves", "Sets out", "plan.starts_at", "moment"),
            Column(
                "state", "State", lambda one: one.state_on(today)[0], "state", shape=lambda one: one.state_on(today)[1]
            ),
        ),
        hint="Person",
    )
    ahead = [one for one in found if one.round.day >= today and not one.round.dropped_at]
    return table.answer(request, "routeapp/planning/round_list.html", found, ahead=len(ahead))


@allow(OWNER, ROUTE_HAND)
def round_next(request: HttpRequest) -> HttpResponse:
    """Where the person's round of today goes on: there, or as a link on the page of a visit."""
    shown = queries_rounds.round_today(request.user, clock.now(), timezone.get_current_timezone_name())
    if request.htmx:  # type: ignore[attr-defined]
        return render(request, "routeapp/planning/round_next.html", {"shown": shown})
    return redirect("round", shown.uuid) if shown else redirect("today")


@allow(OWNER, ROUTE_HAND)
def round_page(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Where next, what to expect there, what was found at the stops behind."""
    shown = shown_or_404(request, uuid)
    queries_found.find(shown)
    return page(request, "routeapp/planning/round.html", {"shown": shown})


@allow(OWNER, ROUTE_HAND)
def round_sheet(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The round on paper, with its load list."""
    shown = shown_or_404(request, uuid)
    context = {"shown": shown, "load": queries_load.load_list(shown, clock.now())}
    return page(request, "routeapp/planning/round_sheet.html", context)


@allow(OWNER)
def round_change(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Drag stops, or move them with the buttons: up, down, out, pinned or not."""
    shown = shown_or_404(request, uuid)
    form = ChangeForm(**sent(request), there=[one.location.pk for one in shown.stops])
    if form.is_valid():
        order, pinned = _changed(request, form)
        said = {"order": order, "pinned": pinned, "by": request.user, "at": clock.now()}
        try:
            actions_changes.change_round(round=shown.round, **said)
        except Refused as refusal:
            return refused(request, refusal, "round-change", uuid)
        return redirect("round-change", uuid)
    return ask(request, "routeapp/planning/round_change.html", form, shown=shown)


def _changed(request: HttpRequest, form: ChangeForm) -> tuple[list[int], set[int]]:
    """The order and the pins after what one button asked for: “up 12”, “down 12”, “out 12”, “pin 12”."""
    order = [int(pk) for pk in request.POST.getlist("stop") if pk.isdecimal() and len(pk) < 19]
    pinned = {int(pk) for pk in request.POST.getlist("pinned") if pk.isdecimal() and len(pk) < 19}
    do, _, text = request.POST.get("do", "").partition(" ")
    pk = int(text) if text.isdecimal() and len(text) < 19 else 0
    if pk in order:
        at = order.index(pk)
        if do in ("up", "down"):
            order.insert(max(0, at + (-1 if do == "up" else 1)), order.pop(at))
        elif do == "out":
            order.remove(pk)
        elif do == "pin":
            pinned ^= {pk}
    if form.cleaned_data["add"]:
        order.append(form.cleaned_data["add"].pk)
    return order, pinned


@allow(OWNER, ROUTE_HAND)
@require_POST
def round_replan(request: HttpRequest, uuid: UUID) -> HttpResponse:
    shown = shown_or_404(request, uuid)
    try:
        actions_changes.replan_rest(round=shown.round, by=request.user, at=clock.now())
    except Refused as refusal:
        return refused(request, refusal, "round", uuid)
    return done(request, "What is ahead is planned anew.", "round", uuid)


@allow(OWNER)
@require_POST
def round_drop(request: HttpRequest, uuid: UUID) -> HttpResponse:
    shown = shown_or_404(request, uuid)
    because = request.POST.get("because", "").replace("\x00", "").strip()[:200]
    actions_rounds.drop_round(round=shown.round, because=because, by=request.user, at=clock.now())
    return done(request, "The round is dropped. Calendars show it as cancelled.", "rounds")
