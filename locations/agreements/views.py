"""The agreements of one location."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_POST

from locations.agreements import actions, queries
from locations.agreements.forms import AgreementForm
from locations.agreements.models import Agreement
from locations.sites.models import Location
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.forms import accepted, sent


@allow(OWNER, BOOKKEEPER)
def agreements(request: HttpRequest, pk: int) -> HttpResponse:
    location = get_object_or_404(Location.objects.select_related("host"), pk=pk)
    listed = queries.agreements_of(location, clock.local_day(clock.now(), location.time_zone))
    current = [one for one in listed if one.state == "in force"]
    context = {"location": location, "agreements": listed, "current": current}
    return htmx.page(request, "locations/agreements/agreement_list.html", context)


@allow(OWNER, BOOKKEEPER)
def agreement_add(request: HttpRequest, pk: int) -> HttpResponse:
    location, now = get_object_or_404(Location, pk=pk), clock.now()
    today = clock.local_day(now, location.time_zone)
    form = AgreementForm(**sent(request), today=today)
    if form.is_valid():
        chosen = {name: form.cleaned_data[name] for name in ("starts_on", "settled", "paid", "note")}
        who_and_when = {"by": request.user, "at": now, "received_at": now}
        if accepted(form, actions.add_agreement, location=location, terms=form.terms(), **chosen, **who_and_when):
            return htmx.done(request, "The terms are kept.", "agreements", pk)
    words = queries.words_on(location, today)
    return htmx.ask(request, "locations/agreements/agreement_form.html", form, location=location, words=words)


@allow(OWNER, BOOKKEEPER)
@require_POST
def agreement_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    agreement = get_object_or_404(Agreement.objects.select_related("location"), pk=pk)
    actions.withdraw_agreement(agreement=agreement, by=request.user, at=clock.now())
    return htmx.done(request, "Withdrawn. The terms before it hold again.", "agreements", agreement.location_id)
