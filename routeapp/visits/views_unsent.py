"""Bringing in the file a phone wrote because it could not send its visits."""

from dataclasses import dataclass
from typing import Any

from django.contrib.auth import get_user_model
from django.http import HttpRequest, HttpResponse

from routeapp.kit import clock, htmx
from routeapp.kit.access import OWNER, ROUTE_HAND, allow, may
from routeapp.kit.errors import Refused
from routeapp.kit.forms import sent
from routeapp.visits.actions import record_visit
from routeapp.visits.forms_unsent import Unsent, UnsentForm
from routeapp.visits.models import Visit


@dataclass(frozen=True)
class BroughtIn:
    """What became of one visit of the file."""

    title: str
    visit: Visit | None = None
    is_new: bool = False
    problem: str = ""


@allow(OWNER)
def unsent_file(request: HttpRequest) -> HttpResponse:
    """Each visit is recorded for the person who made it, as if their phone had sent it; twice is once."""
    form = UnsentForm(**sent(request))
    done = [_bring_in(unsent) for unsent in form.cleaned_data["file"]] if form.is_valid() else []
    status = 422 if form.is_bound and not form.is_valid() else 200
    return htmx.page(request, "routeapp/visits/unsent_file.html", {"form": form, "done": done}, status=status)


def _bring_in(unsent: Unsent) -> BroughtIn:
    if unsent.document is None:
        return BroughtIn(unsent.title, problem=unsent.problem)
    person: Any = get_user_model().objects.filter(pk=unsent.person).first() if unsent.person < 2**31 else None
    if person is None or not may(person, OWNER, ROUTE_HAND):
        return BroughtIn(unsent.title, problem="The person who made it is not known here, or makes no visits.")
    try:
        visit, made = record_visit(document=unsent.document, photos=unsent.photos or {}, by=person, at=clock.now())
    except Refused as refusal:
        return BroughtIn(unsent.title, problem=refusal.message)
    return BroughtIn(unsent.title, visit, made)
