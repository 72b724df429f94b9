"""Bringing in the file a phone wrote because it could not send what was entered."""

from dataclasses import dataclass
from typing import Any

from django.contrib.auth import get_user_model
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from machines.arrivals.actions_corrections import correct_arrival
from machines.arrivals.forms import sheet_of
from machines.arrivals.rules_document import Document as Delivery
from routeapp.kit import clock, htmx
from routeapp.kit.access import OWNER, ROUTE_HAND, allow, may
from routeapp.kit.errors import Refused
from routeapp.kit.forms import sent
from routeapp.visits.actions import record_visit
from routeapp.visits.forms_unsent import Unsent, UnsentForm


@dataclass(frozen=True)
class BroughtIn:
    """What became of one visit or delivery of the file, and the `address` of its page."""

    title: str
    address: str = ""
    is_new: bool = False
    problem: str = ""


@allow(OWNER)
def unsent_file(request: HttpRequest) -> HttpResponse:
    """Each is recorded for the person who made it, as if their phone had sent it; twice is once."""
    form = UnsentForm(**sent(request))
    zone = request.business.time_zone
    done = [_bring_in(unsent, zone) for unsent in form.cleaned_data["file"]] if form.is_valid() else []
    status = 422 if form.is_bound and not form.is_valid() else 200
    return htmx.page(request, "routeapp/visits/unsent_file.html", {"form": form, "done": done}, status=status)


def _bring_in(unsent: Unsent, zone: str) -> BroughtIn:
    if unsent.document is None:
        return BroughtIn(unsent.title, problem=unsent.problem)
    person: Any = get_user_model().objects.filter(pk=unsent.person).first() if unsent.person < 2**31 else None
    if person is None or not may(person, OWNER, ROUTE_HAND):
        return BroughtIn(unsent.title, problem="The person who made it is not known here, or makes no visits.")
    try:
        if isinstance(unsent.document, Delivery):
            return _delivery(unsent, unsent.document, person, zone)
        recorded = record_visit(document=unsent.document, photos=unsent.photos or {}, by=person, at=clock.now())
    except Refused as refusal:
        return BroughtIn(unsent.title, problem=refusal.message)
    return BroughtIn(unsent.title, reverse("visit", args=[recorded.visit.pk]), recorded.made)


def _delivery(unsent: Unsent, document: Delivery, person: Any, zone: str) -> BroughtIn:
    now = clock.now()
    sheet = sheet_of(document, saved=min(document.saved_at, now), zone=zone)
    if not sheet.is_valid():
        return BroughtIn(unsent.title, problem=" ".join(sheet.errors().values()))
    photos, at = sheet.photographed_by(document, unsent.photos or {}), sheet.rest.cleaned_data["at"]
    arrival, made = correct_arrival(told=sheet.told_by(document), photos=photos, by=person, at=at, received_at=now)
    return BroughtIn(unsent.title, reverse("arrival", args=[arrival.uuid]), made)
