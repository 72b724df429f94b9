"""Pages of spare parts: what we have, one part, using one on a fault."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from machines.faults.models import Fault
from machines.parts import actions, queries
from machines.parts.forms import MovePartForm, PartForm, ShelfForm, UsePartForm
from machines.parts.models import Part, PartPlaceKind
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done
from routeapp.kit.tables import Column, Table


def _fits(part: Any) -> str:
    return ", ".join(str(model) for model in part.fits.all()) or "All models"


PARTS = Table(
    "parts",
    (
        Column("name", "Part", "name", link=lambda part: reverse("part", args=[part.pk])),
        Column("have", "We have", "on_hand", "count"),
        Column(
            "enough",
            "Enough",
            lambda part: "Order more" if part.on_hand < part.low_at else "Enough",
            "state",
            order=False,
            shape=lambda part: "warn" if part.on_hand < part.low_at else "good",
        ),
        Column("number", "Number", "number"),
        Column("fits", "Fits", _fits, order=False),
    ),
    find=("name", "number", "fits__name"),
    hint="Part, number or model",
)


@allow(OWNER, ROUTE_HAND)
def part_list(request: HttpRequest) -> HttpResponse:
    return PARTS.answer(request, "machines/parts/part_list.html", queries.parts().distinct())


@allow(OWNER, ROUTE_HAND)
def part_add(request: HttpRequest) -> HttpResponse:
    form = PartForm(**sent(request))
    if form.is_valid() and accepted(form, actions.save_part, part=None, **form.cleaned_data, by=request.user, at=now()):
        return done(request, f"{form.cleaned_data['name']} was added.", "parts")
    return ask(request, "machines/parts/form.html", form, title="Add a part", button="Add the part")


@allow(OWNER, ROUTE_HAND)
def part_edit(request: HttpRequest, pk: int) -> HttpResponse:
    part = get_object_or_404(Part, pk=pk)
    form = PartForm(**sent(request), instance=part)
    if form.is_valid() and accepted(form, actions.save_part, part=part, **form.cleaned_data, by=request.user, at=now()):
        return done(request, f"{form.cleaned_data['name']} was changed.", "part", pk)
    return ask(request, "machines/parts/form.html", form, title="Change the part", button="Save")


@allow(OWNER, ROUTE_HAND)
def part_page(request: HttpRequest, pk: int) -> HttpResponse:
    part, moment = get_object_or_404(queries.parts(), pk=pk), now()
    form = MovePartForm(**sent(request))
    facts = {"by": request.user, "at": moment, "received_at": moment}
    if form.is_valid() and accepted(form, actions.move_part, part=part, **form.said(), **facts):
        return done(request, "It is written down.", "part", pk)
    context = {"part": part, "lies": queries.lies(part), "moves": queries.moves_of(part)[:50]}
    return ask(request, "machines/parts/part_page.html", form, **context)


@allow(OWNER, ROUTE_HAND)
def shelf_add(request: HttpRequest) -> HttpResponse:
    form = ShelfForm(**sent(request))
    if form.is_valid() and accepted(form, actions.add_shelf, **form.cleaned_data, by=request.user, at=now()):
        return done(request, f"{form.cleaned_data['name']} was added.", "parts")
    return ask(request, "machines/parts/form.html", form, title="Add a place for parts", button="Add it")


@allow(OWNER, ROUTE_HAND)
def fault_parts(request: HttpRequest, pk: int) -> HttpResponse:
    fault = get_object_or_404(Fault.objects.live().select_related("machine__model"), pk=pk)
    moment = now()
    form = UsePartForm(**sent(request), fault=fault)
    facts = {"fault": fault, "by": request.user, "at": moment, "received_at": moment}
    if form.is_valid() and accepted(
        form, actions.move_part, **form.cleaned_data, outside=PartPlaceKind.CABINETS, **facts
    ):
        return done(request, f"{form.cleaned_data['part']} was used on {fault.machine}.", "fault-parts", pk)
    context = {"fault": fault, "machine": fault.machine, "used": queries.used_on(fault)}
    return ask(request, "machines/parts/fault_parts.html", form, **context)
