"""Pages of deliveries: what is under way, the page at the door, unpacking, what was found."""

from typing import Any
from uuid import UUID, uuid4, uuid5

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse

from machines.arrivals import queries, rules_document
from machines.arrivals.actions import Photographed
from machines.arrivals.actions_corrections import NOT_KEPT, correct_arrival
from machines.arrivals.forms import Sheet
from machines.arrivals.models import WRONG, Arrival, ArrivalPhoto
from machines.arrivals.rules_document import Document
from machines.purchases.models import Order
from routeapp.kit import pictures
from routeapp.kit.access import EVERYONE, OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.errors import Refused
from routeapp.kit.files import kept_file
from routeapp.kit.htmx import done, page, refused
from routeapp.kit.tables import Column, Table

ARRIVALS = Table(
    "deliveries",
    (
        Column("order", "Order", "order.number", link=lambda one: reverse("arrival", args=[one.uuid])),
        Column("at", "Came", "at", "moment"),
        Column("supplier", "From", "order.supplier.name"),
        Column("carrier", "Delivered by", "carrier"),
        Column(
            "state",
            "Found",
            lambda one: f"{one.wrong} damaged or missing" if one.wrong else "Nothing wrong",
            "state",
            order="wrong",
            shape=lambda one: "bad" if one.wrong else "good",
        ),
    ),
    find=("order__number", "order__supplier__name", "carrier"),
    hint="Order, supplier or carrier",
)


@allow(*EVERYONE)
def arrival_list(request: HttpRequest) -> HttpResponse:
    context = {"expected": queries.expected_orders()}
    return ARRIVALS.answer(request, "machines/arrivals/arrival_list.html", queries.arrivals(), **context)


@allow(OWNER, ROUTE_HAND)
def arrival_start(request: HttpRequest, pk: int) -> HttpResponse:
    """The page at the door, for one order."""
    return _sheet_page(request, get_object_or_404(Order.objects.select_related("supplier"), pk=pk))


@allow(OWNER, ROUTE_HAND)
def arrival_unpack(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The same page without the door: what was unpacked later."""
    arrival = get_object_or_404(queries.arrivals(), uuid=uuid)
    return _sheet_page(request, arrival.order, follows=arrival)


@allow(OWNER, ROUTE_HAND)
def arrival_correct(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The same page once more, with what was typed, to put right what was written down wrongly."""
    arrival = get_object_or_404(Arrival.objects.select_related("order__supplier", "follows"), uuid=uuid)
    if request.method == "GET" and arrival.withdrawn_at:
        return redirect("arrival", uuid)
    if request.method == "GET" and not arrival.typed:
        return refused(request, Refused(NOT_KEPT), "arrival", uuid)
    return _sheet_page(request, arrival.order, follows=arrival.follows, replaces=arrival)


def _sheet_page(
    request: HttpRequest, order: Order, follows: Arrival | None = None, replaces: Arrival | None = None
) -> HttpResponse:
    moment, zone = now(), request.business.time_zone
    sent = request.method == "POST"
    about: dict[str, Any] = {"order": order, "follows": follows, "replaces": replaces}
    sheet = Sheet(**about, fields=request.POST.dict() if sent else None, now=moment, zone=zone)
    if sent and sheet.is_valid() and (saved := _save(request, sheet, moment)):
        return done(request, "Saved.", "arrival", (saved.follows or saved).uuid)
    context = {**about, "sheet": sheet, "person": request.user, "sent": sent, "path": request.path}
    context["id"] = request.POST.get("id") or uuid4()
    return page(request, "machines/arrivals/arrival_form.html", context, status=422 if sent else 200)


def _save(request: HttpRequest, sheet: Sheet, moment: Any) -> Arrival | None:
    """The delivery as it was written down; None when something is shown in the forms instead."""
    try:
        fields = request.POST.dict()
        uuid = UUID(fields.pop("id", ""))
        fields.pop("csrfmiddlewaretoken", None)
        document = Document(id=uuid, order=sheet.order.pk, saved_at=moment, fields=fields)
        told = sheet.told(uuid, rules_document.fingerprint(document), fields)
        photos, at = _photos(request, sheet, uuid), sheet.rest.cleaned_data["at"]
        return correct_arrival(told=told, photos=photos, by=request.user, at=at, received_at=moment)[0]
    except pictures.NotAPicture as problem:
        sheet.show("photos", f"{problem} Choose the photos again; the rest was kept.")
    except Refused as refusal:
        sheet.show(refusal.field, refusal.message)
    except ValueError:
        sheet.show(None, "This page was sent incompletely. Send it once more.")
    return None


def _photos(request: HttpRequest, sheet: Sheet, uuid: UUID) -> dict[UUID, Photographed]:
    return {
        uuid5(uuid, f"{name} {number}"): sheet.photographed(name, pictures.clean(file, file.size))
        for name in request.FILES
        for number, file in enumerate(request.FILES.getlist(name))
    }


@allow(*EVERYONE)
def arrival_page(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What came and what was found, with what to do about it."""
    told = get_object_or_404(Arrival.objects.select_related("follows", "replaced_by"), uuid=uuid)
    if told.withdrawn_at and hasattr(told, "replaced_by"):
        return redirect("arrival", told.replaced_by.uuid)
    if told.follows:
        return redirect("arrival", told.follows.uuid)
    arrival = queries.arrivals().get(pk=told.pk)
    looked = queries.looked_at(arrival.order)
    context = {
        "arrival": arrival,
        "looked": looked,
        "wrong": [one for each in looked for one in each.findings if one.state in WRONG and not one.replaced],
        "claims": queries.claims_of(arrival.order),
        "to_unpack": queries.to_unpack(arrival.order),
        "told": queries.told_of(arrival),
    }
    context["unclaimed"] = [one for one in context["wrong"] if not one.in_claim]
    return page(request, "machines/arrivals/arrival.html", context)


@allow(*EVERYONE)
def arrival_photo(request: HttpRequest, uuid: UUID) -> HttpResponse:
    photo = get_object_or_404(ArrivalPhoto, pk=uuid)
    return kept_file(photo.file)
