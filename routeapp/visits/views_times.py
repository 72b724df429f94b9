"""The two buttons of a visit whose times are in doubt."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_POST

from routeapp.kit import clock, htmx
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.errors import Refused
from routeapp.visits.actions_times import keep_times, shift_times
from routeapp.visits.models import Visit


@allow(OWNER, ROUTE_HAND)
@require_POST
def visit_times_keep(request: HttpRequest, uuid: UUID) -> HttpResponse:
    visit = get_object_or_404(Visit, pk=uuid)
    try:
        keep_times(visit=visit, by=request.user, at=clock.now())
    except Refused as refusal:
        return htmx.refused(request, refusal, "visit", uuid)
    return htmx.done(request, "Kept as told.", "visit", uuid)


@allow(OWNER, ROUTE_HAND)
@require_POST
def visit_times_shift(request: HttpRequest, uuid: UUID) -> HttpResponse:
    visit = get_object_or_404(Visit.objects.select_related("by"), pk=uuid)
    try:
        right = shift_times(visit=visit, by=request.user, at=clock.now())
    except Refused as refusal:
        return htmx.refused(request, refusal, "visit", uuid)
    return htmx.done(request, "The times are put right. The first version stays readable.", "visit", right.pk)
