"""Tax rules, where they hold, and what a cabinet's plays count as. What is due by law is not said here."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from locations.sites.models import Location
from locations.taxes import actions, queries
from locations.taxes.forms import CabinetTaxForm, LocationTaxForm, RuleForm
from locations.taxes.models import TaxRule
from locations.taxes.rules import Treatment
from machines.cabinets.models import Machine
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.tables import Column, Table, person

RULES = Table(
    "tax rules",
    (
        Column("place", "Place", "rule.jurisdiction", link=lambda one: reverse("tax-rule", args=[one.row.pk])),
        Column("treatment", "A play counts as", lambda one: Treatment(one.rule.treatment).label),
        Column("rule", "Rule", "rule.words"),
        Column("state", "State", "state", "state", shape=lambda one: one.shape),
        Column("from", "From", "rule.valid_from", "day"),
        Column("to", "Up to", "rule.valid_to", "day"),
        Column("source", "Written in", "rule.source"),
        Column("who", "Written down by", person("row.by")),
    ),
    hint="Place, rule or source",
)


@allow(OWNER, BOOKKEEPER)
def tax_rules(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate(clock.now())
    return RULES.answer(request, "locations/taxes/rule_list.html", queries.listed(today))


@allow(OWNER, BOOKKEEPER)
def tax_rule(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(TaxRule.objects.select_related("jurisdiction", "by", "withdrawn_by"), pk=pk)
    context = {"row": row, "rule": queries.rule_of(row), "treatment": Treatment(row.treatment).label}
    return htmx.page(request, "locations/taxes/rule.html", context)


@allow(OWNER, BOOKKEEPER)
def tax_rule_add(request: HttpRequest) -> HttpResponse:
    now = clock.now()
    form = RuleForm(**sent(request), today=timezone.localdate(now))
    if form.is_valid() and accepted(form, actions.add_rule, **form.said(), by=request.user, at=now):
        return htmx.done(request, "The rule is kept.", "tax-rules")
    return htmx.ask(request, "locations/taxes/rule_add.html", form)


@allow(OWNER, BOOKKEEPER)
@require_POST
def tax_rule_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    rule = get_object_or_404(TaxRule.objects.select_related("jurisdiction"), pk=pk)
    actions.withdraw_rule(rule=rule, by=request.user, at=clock.now())
    return htmx.done(request, "Withdrawn. The rule before it holds again.", "tax-rules")


@allow(OWNER, BOOKKEEPER)
def location_tax(request: HttpRequest, pk: int) -> HttpResponse:
    location, now = get_object_or_404(Location, pk=pk), clock.now()
    today = clock.local_day(now, location.time_zone)
    said = queries.places_of(location)
    form = LocationTaxForm(**sent(request), today=today, initial={"jurisdiction": queries.place_on(said, today)})
    if form.is_valid():
        actions.tax_location(location=location, **form.cleaned_data, by=request.user, at=now)
        return htmx.done(request, "It is written down.", "location-tax", pk)
    context = {"location": location, "said": said, "cabinets": queries.cabinets_at(location, today)}
    return htmx.ask(request, "locations/taxes/location.html", form, **context)


@allow(OWNER, BOOKKEEPER)
def cabinet_tax(request: HttpRequest, code: str) -> HttpResponse:
    machine, now = get_object_or_404(Machine.objects.select_related("model"), code=code), clock.now()
    today = timezone.localdate(now)
    said = queries.treatments_of(machine)
    first = next((one.treatment for one in said if one.starts_on <= today), Treatment.AMUSEMENT)
    form = CabinetTaxForm(**sent(request), today=today, initial={"treatment": first})
    if form.is_valid():
        actions.tax_cabinet(machine=machine, **form.cleaned_data, by=request.user, at=now)
        return htmx.done(request, "It is written down.", "cabinet-tax", code)
    return htmx.ask(request, "locations/taxes/cabinet.html", form, machine=machine, said=said)
