"""The phone's front door for deliveries: one document and its photos, answered as visits are."""

import json
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.http import HttpRequest, JsonResponse
from django.shortcuts import get_object_or_404
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST
from pydantic import ValidationError

from machines.arrivals import queries, rules_document
from machines.arrivals.actions import Clash
from machines.arrivals.actions_corrections import correct_arrival
from machines.arrivals.forms import Sheet, sheet_of
from machines.arrivals.models import Outside
from machines.arrivals.rules_document import Document
from machines.purchases.models import Order
from routeapp.kit import clock, pictures
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.errors import Refused

CLOCK_MAY_BE_OFF = timedelta(minutes=5)


@allow(OWNER, ROUTE_HAND)
@never_cache
@require_GET
def sync_delivery(request: HttpRequest, pk: int) -> JsonResponse:
    """The delivery of an order to take along: the page at the door, or of unpacking when it came already."""
    order, now = get_object_or_404(Order.objects.select_related("supplier"), pk=pk), clock.now()
    follows = queries.arrivals().filter(order=order).exclude(outside=Outside.REFUSED).first()
    path = reverse("arrival-unpack", args=[follows.uuid]) if follows else reverse("arrival-start", args=[pk])
    about = {"order": order, "follows": follows}
    sheet = Sheet(**about, now=now, zone=request.business.time_zone)
    context = {**about, "sheet": sheet, "person": request.user, "path": path, "id": ""}
    form = render_to_string("machines/arrivals/arrival_form.html#form", context)
    name = f"{'Unpack' if follows else 'At the door'}: {order} {order.supplier}"
    return JsonResponse({"delivery": {"person": request.user.pk, "path": path, "name": name, "form": form}})


@allow(OWNER, ROUTE_HAND)
@never_cache
@require_POST
def sync_arrivals(request: HttpRequest) -> JsonResponse:
    """201 made, 200 the same again, 409 same id with another content, 422 with messages by field.

    Multipart: `document` is the JSON text, `device_time` what the phone's clock shows as it sends it (ISO 8601 with
    offset); each photo is a file named by the id the document gives it.
    """
    try:
        document = rules_document.read(json.loads(request.POST.get("document", "")))
        photos = {UUID(name): pictures.clean(file, file.size) for name, file in request.FILES.items()}
    except ValidationError as error:
        return _invalid(rules_document.problems(error))
    except pictures.NotAPicture as problem:
        return _invalid({"photos": str(problem)})
    except (ValueError, RecursionError):
        return _invalid({"": "The document could not be read."})
    now = clock.now()
    try:
        sheet = _sheet(document, request, now)
    except Refused as refusal:
        return _invalid({"": refusal.message})
    if not sheet.is_valid():
        return _invalid(sheet.errors())
    return _record(request, document, sheet, photos, now)


def _record(
    request: HttpRequest, document: Document, sheet: Sheet, photos: dict[UUID, bytes], now: datetime
) -> JsonResponse:
    told, belong = sheet.told_by(document), sheet.photographed_by(document, photos)
    at = sheet.rest.cleaned_data["at"]
    try:
        arrival, made = correct_arrival(told=told, photos=belong, by=request.user, at=at, received_at=now)
    except Clash as clash:
        return JsonResponse({"id": str(document.id), "errors": {"id": clash.message}}, status=409)
    except Refused as refusal:
        return _invalid({refusal.field or "": refusal.message})
    return JsonResponse({"id": str(arrival.uuid), "questions": {}}, status=201 if made else 200)


def _sheet(document: Document, request: HttpRequest, now: datetime) -> Sheet:
    saved = min(_by_our_clock(document.saved_at, request.POST.get("device_time", ""), now), now)
    return sheet_of(document, saved=saved, zone=request.business.time_zone)


def _by_our_clock(saved: datetime, device_time: str, now: datetime) -> datetime:
    """When it was saved, put right by as much as the phone's clock is off, unless it tells nothing of use."""
    try:
        shown = datetime.fromisoformat(device_time)
        off = now - shown
        right = saved + off
    except (ValueError, TypeError, OverflowError):
        return saved
    return right if abs(off) > CLOCK_MAY_BE_OFF and shown.year >= 1970 and right.year >= 2000 else saved


def _invalid(errors: dict[str, Any]) -> JsonResponse:
    return JsonResponse({"errors": errors}, status=422)
