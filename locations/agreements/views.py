"""The agreements of one location."""

from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_POST

from locations.agreements import actions, queries
from locations.agreements.forms import AgreementForm, EndForm, typed_as
from locations.agreements.models import Agreement
from locations.sites.models import Location
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.tables import Column, Table, person

AGREEMENTS = Table(
    "agreements",
    (
        Column(
            "from", "From", "agreement.starts_on", "day", link=lambda one: reverse("agreement", args=[one.agreement.pk])
        ),
        Column("until", "Until", "ends_on", "day"),
        Column("state", "State", "state", "state", shape=lambda one: one.shape),
        Column("about", "For", lambda one: one.about or "the location"),
        Column("words", "Terms", "words"),
        Column("who", "Written down by", person("agreement.by")),
        Column("note", "Note", "agreement.note"),
    ),
    hint="Terms, cabinet, state or note",
)


@allow(OWNER, BOOKKEEPER)
def agreements(request: HttpRequest, pk: int) -> HttpResponse:
    location = get_object_or_404(Location.objects.select_related("host"), pk=pk)
    listed = queries.agreements_of(location, clock.local_day(clock.now(), location.time_zone))
    current = sorted((one for one in listed if one.state == "in force"), key=lambda one: one.about)
    context = {"location": location, "current": current, "any": bool(listed)}
    return AGREEMENTS.answer(request, "locations/agreements/agreement_list.html", listed, **context)


@allow(OWNER, BOOKKEEPER)
def agreement(request: HttpRequest, pk: int) -> HttpResponse:
    location = get_object_or_404(Location.objects.select_related("host"), agreements__pk=pk)
    listed = queries.agreements_of(location, clock.local_day(clock.now(), location.time_zone))
    one = next(one for one in listed if one.agreement.pk == pk)
    return htmx.page(request, "locations/agreements/agreement.html", {"location": location, "one": one})


@allow(OWNER, BOOKKEEPER)
def agreement_add(request: HttpRequest, pk: int) -> HttpResponse:
    location, now = get_object_or_404(Location, pk=pk), clock.now()
    today = clock.local_day(now, location.time_zone)
    form = AgreementForm(**sent(request), location=location, today=today, initial=_as_now(location, today))
    if form.is_valid():
        who_and_when = {"by": request.user, "at": now, "received_at": now}
        terms = {"terms": form.lines(), **form.chosen()}
        if accepted(form, actions.add_agreement, location=location, **terms, **who_and_when):
            return htmx.done(request, _kept(location, form.cleaned_data["starts_on"]), "agreements", pk)
    words = queries.words_of(queries.in_force(location, today))
    return htmx.ask(request, "locations/agreements/agreement_form.html", form, location=location, words=words)


def _as_now(location: Location, today: date) -> dict[str, Any]:
    """New terms mostly change one figure of those in force."""
    deal = next((deal for deal in queries.in_force(location, today) if deal.machine is None), None)
    if deal is None:
        return {}
    return {**typed_as(deal), "settled": deal.settled.kind, "anchor": deal.settled.anchor, "paid": deal.paid}


def _kept(location: Location, starts_on: date) -> str:
    """What was put in force, and where other terms take over."""
    deals = queries.deals_for([location.pk])[location.pk]
    ends = [deal.ends_on for deal in deals if deal.starts_on == starts_on and deal.ends_on]
    return f"The terms are kept. {f'They hold up to {ends[0]:%-d %b %Y}; others follow.' if ends else ''}".strip()


@allow(OWNER, BOOKKEEPER)
def agreement_end(request: HttpRequest, pk: int) -> HttpResponse:
    """End the terms of an agreement, without others in their place."""
    ended, now = get_object_or_404(Agreement.objects.select_related("location", "machine"), pk=pk), clock.now()
    location = ended.location
    form = EndForm(**sent(request), today=clock.local_day(now, location.time_zone))
    said = {"agreement": ended, "by": request.user, "at": now}
    if form.is_valid() and accepted(form, actions.end_agreement, **form.cleaned_data, **said):
        return htmx.done(request, "The end is written down.", "agreements", location.pk)
    return htmx.ask(request, "locations/agreements/agreement_end.html", form, location=location, agreement=ended)


@allow(OWNER, BOOKKEEPER)
@require_POST
def agreement_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    agreement = get_object_or_404(Agreement.objects.select_related("location"), pk=pk)
    actions.withdraw_agreement(agreement=agreement, by=request.user, at=clock.now())
    return htmx.done(request, "Withdrawn. What was agreed before it holds again.", "agreements", agreement.location_id)


@allow(OWNER)
@require_POST
def location_reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Here and not beside the closing, as terms begin anew with it."""
    location, now = get_object_or_404(Location, pk=pk), clock.now()
    actions.reopen_location(location=location, by=request.user, at=now)
    agreed = queries.in_force(location, clock.local_day(now, location.time_zone))
    said = " The terms it had hold again from today." if agreed else ""
    return htmx.done(request, f"{location} is open again.{said}", "location", pk)
