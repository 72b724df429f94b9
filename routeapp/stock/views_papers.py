"""Pages for the papers of the stock room: a delivery, a count, prizes carried from one place to another."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_POST

from locations.placements.models import Placement
from machines.cabinets.models import Machine
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page, refused
from routeapp.stock import actions_papers as papers
from routeapp.stock import queries
from routeapp.stock import queries_overview as overview
from routeapp.stock.actions import cabinet_place
from routeapp.stock.forms import BeginningForm, CarryForm, DeliveryForm, DeliveryLineSet, MovesFilter, StockCountForm
from routeapp.stock.models import Delivery, Place, PlaceKind


def when(request: HttpRequest, moment: datetime) -> dict[str, Any]:
    return {"now": moment, "zone": request.business.time_zone}


@allow(OWNER, ROUTE_HAND)
def delivery_add(request: HttpRequest) -> HttpResponse:
    moment = now()
    paper, lines = _as_before(request)
    form = DeliveryForm(**sent(request), **when(request, moment), initial=paper)
    line_set = DeliveryLineSet(**sent(request), initial=lines, prefix="line")
    if all([form.is_valid(), line_set.is_valid()]) and accepted(
        form, papers.deliver, **form.cleaned_data, lines=line_set.lines(), by=request.user, received_at=moment
    ):
        return done(request, "The prizes are in the books.", "delivery", form.cleaned_data["uuid"])
    return ask(request, "routeapp/stock/delivery_form.html", form, lines=line_set)


def _as_before(request: HttpRequest) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """What a withdrawn delivery said, to be entered again without its mistake: ?again=<id>."""
    try:
        before = Delivery.objects.get(uuid=UUID(request.GET.get("again", "")))
    except (ValueError, Delivery.DoesNotExist):
        return {}, []
    lines = overview.delivered(before.uuid)
    paper = {"supplier": before.supplier, "paper": before.paper, "at": before.at}
    return {**paper, "to_place": lines[0].to_place_id if lines else None}, [
        {"prize": line.prize_id, "pieces": line.quantity, "cost_cents": line.cost_cents} for line in lines
    ]


@allow(OWNER, ROUTE_HAND)
def stock_inside(request: HttpRequest) -> HttpResponse:
    """What was in a cabinet when it came; without one, those that the books know nothing inside of."""
    place, moment = _place_asked(request), now()
    if place is None or place.machine is None:
        return page(request, "routeapp/stock/inside_choose.html", {"cabinets": queries.never_filled()})
    paper, lines = _as_before(request)
    form = BeginningForm(**sent(request), **when(request, moment), initial={"at": _came(place, moment), **paper})
    line_set = DeliveryLineSet(**sent(request), initial=lines, prefix="line")
    if all([form.is_valid(), line_set.is_valid()]):
        said = {**form.cleaned_data, "machine": place.machine, "lines": line_set.lines()}
        if accepted(form, papers.begin_with, **said, by=request.user, received_at=moment):
            return done(request, "What was inside is in the books.", "cabinet", place.machine.code)
    known = queries.inside([place.machine.pk]).get(place.machine.pk, [])
    context = {"lines": line_set, "machine": place.machine, "known": known}
    return ask(request, "routeapp/stock/inside_form.html", form, **context)


def _came(place: Place, moment: datetime) -> datetime:
    """A moment before anything else that is known of its prizes: the start of its placement, where that does."""
    known = queries.known_since(place) if place.pk else None
    stands = Placement.objects.filter(machine=place.machine, ended_at=None).first()
    at = stands.started_at if stands else moment
    return min(at, known - timedelta(minutes=1)) if known else at


@allow(OWNER, ROUTE_HAND)
@require_POST
def delivery_withdraw(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = get_object_or_404(Delivery, uuid=uuid)
    try:
        papers.withdraw_delivery(delivery=found, by=request.user, at=now())
    except Refused as refusal:
        return refused(request, refusal, "delivery", uuid)
    return done(request, "Withdrawn: the prizes are out of the books again, and the costs as before.", "delivery", uuid)


@allow(OWNER, ROUTE_HAND)
def stock_count(request: HttpRequest) -> HttpResponse:
    place, moment = _place_asked(request), now()
    if place is None:
        return _choose_place(request, "Count prizes")
    form = StockCountForm(**sent(request), **when(request, moment), **_what_lies_in(place))
    if form.is_valid():
        place = cabinet_place(place.machine) if place.machine else place
        chosen = {name: form.cleaned_data[name] for name in ("uuid", "reason", "estimated", "at")}
        if accepted(
            form, papers.count_place, place=place, found=form.lines(), **chosen, by=request.user, received_at=moment
        ):
            return done(request, _result(form.cleaned_data["uuid"], place), _moves_of(place))
    return ask(request, "routeapp/stock/count_form.html", form, place=place)


def _result(uuid: UUID, place: Place) -> str:
    """What a count showed, in words, and what became of the difference."""
    found = overview.differences(uuid)
    if not found:
        return f"{place} is counted: all as the books said."
    words = [f"{one.quantity:,} {one.prize} {'missing' if one.from_place_id == place.pk else 'more'}" for one in found]
    won = any(one.to_place.kind == PlaceKind.PLAYERS for one in found)
    meaning = "Players won what is missing." if won else "The difference is booked as shrinkage."
    return f"{place} is counted: {', '.join(words)}. {meaning}"


@allow(OWNER, ROUTE_HAND)
def stock_move(request: HttpRequest) -> HttpResponse:
    place, moment = _place_asked(request), now()
    if place is None or place.pk is None:
        return _choose_place(request, "Move prizes")
    form = CarryForm(**sent(request), **when(request, moment), **_what_lies_in(place), initial={"from_place": place.pk})
    if form.is_valid():
        chosen = {name: form.cleaned_data[name] for name in ("uuid", "from_place", "to_place", "at")}
        if accepted(form, papers.carry, **chosen, lines=form.lines(), by=request.user, received_at=moment):
            pieces = sum(pieces for _, pieces in form.lines())
            return done(request, f"{pieces:,} pieces went from {place} to {chosen['to_place']}.", _moves_of(place))
    return ask(request, "routeapp/stock/carry_form.html", form, place=place)


def _place_asked(request: HttpRequest) -> Place | None:
    """The place in the address: ?place=<id>, or ?cabinet=<code>; a cabinet nobody filled yet has no row."""
    if code := request.GET.get("cabinet", "").replace("\x00", "").strip():
        machine = Machine.objects.filter(code__iexact=code).first()
        if machine is None:
            messages.error(request, f"There is no cabinet {code[:20]}. Its code is on the label.")
            return None
        unfilled = Place(kind=PlaceKind.CABINET, name=f"Cabinet {machine.code}", machine=machine)
        return Place.objects.select_related("machine").filter(machine=machine).first() or unfilled
    if request.GET.get("place") and not (place := MovesFilter(request.GET).chosen()["place"]):
        raise Http404
    return place if request.GET.get("place") else None


def _choose_place(request: HttpRequest, title: str) -> HttpResponse:
    return page(request, "routeapp/stock/place_choose.html", {"title": title, "places": queries.carrying_places()})


def _what_lies_in(place: Place) -> dict[str, Any]:
    books = queries.contents([place.pk]).get(place.pk, {}) if place.pk else {}
    return {"prizes": overview.prizes_of(books), "beside": books}


def _moves_of(place: Place) -> str:
    return f"{reverse('stock-moves')}?place={place.pk}"
