"""Calendars of rounds: the addresses, and the feed behind one."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from routeapp.kit import clock
from routeapp.kit.access import OWNER, PUBLIC, ROUTE_HAND, allow, may
from routeapp.kit.htmx import done, page
from routeapp.planning import actions_calendar, queries_calendar, queries_crew


@allow(OWNER, ROUTE_HAND)
def calendar(request: HttpRequest) -> HttpResponse:
    """The own address; for an owner those of everybody."""
    everybody = may(request.user, OWNER)
    found = queries_calendar.links(None if everybody else request.user)
    lines = [(one, link, queries_calendar.address(link) if link else "") for one, link in found]
    return page(request, "routeapp/planning/calendar.html", {"lines": lines})


@allow(OWNER, ROUTE_HAND)
@require_POST
def calendar_make(request: HttpRequest, pk: int) -> HttpResponse:
    actions_calendar.make_link(person=_person(request, pk), by=request.user, at=clock.now())
    return done(request, "The address is made; one made before works no longer.", "calendar")


@allow(OWNER, ROUTE_HAND)
@require_POST
def calendar_revoke(request: HttpRequest, pk: int) -> HttpResponse:
    actions_calendar.revoke_link(person=_person(request, pk), by=request.user, at=clock.now())
    return done(request, "The address works no longer.", "calendar")


def _person(request: HttpRequest, pk: int) -> object:
    """Whose calendar it is: one's own, or anybody's for an owner."""
    if pk != request.user.pk and not may(request.user, OWNER):
        raise Http404
    return get_object_or_404(queries_crew.people(), pk=pk)


@allow(PUBLIC)
@require_safe
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """For calendar programs: whoever has the address. A wrong or revoked one is not found, and says no more."""
    link = queries_calendar.link_of(token)
    if link is None:
        raise Http404
    text = queries_calendar.feed_of(link, clock.now(), timezone.get_current_timezone_name())
    return HttpResponse(
        text,
        content_type="text/calendar; charset=utf-8",
        headers={"Cache-Control": "private, max-age=900", "X-Robots-Tag": "noindex"},
    )
