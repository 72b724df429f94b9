"""Drives that visits speak of, to be written into the mileage log."""

from django.http import HttpRequest, HttpResponse

from routeapp.expenses.rules import Unit
from routeapp.kit import clock
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, allow, may
from routeapp.kit.htmx import page
from routeapp.kit.units import Units
from routeapp.visits.queries_trips import LOOK_BACK, proposals


@allow(*EVERYONE)
def trip_proposals(request: HttpRequest) -> HttpResponse:
    """A route hand sees the own days; the office all."""
    unit = Unit.MILE if request.business.units == Units.CUSTOMARY else Unit.KILOMETRE
    mine = None if may(request.user, OWNER, BOOKKEEPER) else request.user
    context = {"proposals": proposals(clock.now(), unit, mine), "days": LOOK_BACK.days}
    return page(request, "routeapp/visits/trip_proposals.html", context)
