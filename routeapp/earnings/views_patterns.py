"""Whether short money is chance or a pattern."""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from routeapp.cash.forms import DaysForm
from routeapp.earnings.queries_patterns import patterns
from routeapp.earnings.rules import Span
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, OWNER, allow

LONGEST = timedelta(days=3 * 366)


@allow(OWNER, BOOKKEEPER)
def over_short_patterns(request: HttpRequest) -> HttpResponse:
    days = DaysForm(request.GET, today=timezone.localdate(clock.now()))
    span = Span(max(days.first, days.last - LONGEST), days.last)
    found = patterns(span, timezone.get_current_timezone_name())
    groups = [
        ("Cabinets, against their meters", found.cabinets),
        ("People, against the meters of the cabinets they emptied", found.people),
        ("People, against what was noted when they filled bags", found.fillers),
    ]
    context = {"days": days, "span": span, "found": found, "groups": groups, "centre": round(found.centre * 10_000)}
    return htmx.page(request, "routeapp/earnings/over_short_patterns.html", context)
