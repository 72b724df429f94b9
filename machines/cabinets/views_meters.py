"""Pages of a cabinet's meters and of its price per play, which the plays meter carries."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from machines.cabinets import actions_meter_changes as actions
from machines.cabinets import queries
from machines.cabinets.forms import MomentForm
from machines.cabinets.forms_meters import NewMeterForm, PriceForm, ReplaceForm, ResetForm, TickedMeterForm
from machines.cabinets.models import Counts, Meter, Reading, ReadingKind
from machines.cabinets.queries_meters import meters_in_use, readings_of
from machines.cabinets.views import machine_or_404, when
from routeapp.kit.access import EVERYONE, OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done
from routeapp.kit.tables import Column, Table, person

READINGS = Table(
    "readings",
    (
        Column("at", "When", "at", "moment"),
        Column("meter", "Meter", "meter.get_counts_display", order="meter__counts"),
        Column("value", "Showed", "value", "count"),
        Column("tests", "Test plays", lambda one: one.tests_before + one.tests_after, "count", order=False),
        Column("what", "What it was", lambda one: _what(one), "state", order=False, shape=lambda one: "none"),
        Column("who", "Who", person("by"), order="by__username"),
    ),
    find=("by__first_name", "by__last_name", "by__username", "reason"),
    hint="Person or reason",
    rows_a_page=20,
)


def _what(reading: Reading) -> str:
    """What is to be known about a reading beside its figure; empty for a plain one."""
    said = [reading.get_kind_display() if reading.kind == ReadingKind.BASELINE else ""]
    said += [reading.get_explained_as_display() if reading.explained_as else "", reading.reason]
    return ", ".join([*filter(None, said), *(["withdrawn"] if reading.withdrawn_at else [])])


@allow(*EVERYONE)
def meter_list(request: HttpRequest, code: str) -> HttpResponse:
    machine = machine_or_404(code)
    meters = meters_in_use([machine.pk])
    context = {"machine": machine, "meters": meters, "removed": queries.removed_meters(machine)}
    context["room"] = len(meters) < len(Counts)
    return READINGS.answer(request, "machines/cabinets/meter_list.html", readings_of(machine), **context)


@allow(OWNER, ROUTE_HAND)
def meter_add(request: HttpRequest, code: str) -> HttpResponse:
    machine, moment = machine_or_404(code), now()
    taken = set(meters_in_use([machine.pk]).values_list("counts", flat=True))
    form = MomentForm(**sent(request), **when(request, moment))
    meters = [TickedMeterForm(**sent(request), counts=counts) for counts in Counts if counts not in taken]
    valid = all([form.is_valid(), *[meter.is_valid() for meter in meters]])
    if valid and accepted(
        form,
        actions.add_meters,
        machine=machine,
        meters=[meter.new_meter() for meter in meters if meter.cleaned_data["fitted"]],
        by=request.user,
        at=form.cleaned_data["at"],
        received_at=moment,
    ):
        return done(request, f"{machine} counts with its new meter from now on.", "cabinet-meters", machine.code)
    context = {"machine": machine, "meters": meters, "title": "Add a meter", "button": "Add the meter"}
    return ask(request, "machines/cabinets/meter_add.html", form, **context)


@allow(OWNER, ROUTE_HAND)
def meter_replace(request: HttpRequest, pk: int) -> HttpResponse:
    meter, moment = meter_or_404(pk), now()
    if meter.removed_at:
        return gone(request, meter)
    form = ReplaceForm(**sent(request), **when(request, moment), meter=meter)
    first = {"digits": meter.digits, "value_cents": meter.value_cents, "counts_tests": meter.counts_tests}
    new = NewMeterForm(**sent(request), counts=meter.counts, initial=first)
    if all([form.is_valid(), new.is_valid()]) and accepted(
        form,
        actions.replace_meter,
        meter=meter,
        closing=form.last(),
        new=new.new_meter(),
        by=request.user,
        at=form.cleaned_data["at"],
        received_at=moment,
    ):
        return done(request, f"The {meter} was replaced.", "cabinet-meters", meter.machine.code)
    context = {"machine": meter.machine, "meter": meter, "new": new}
    context |= {"title": f"Replace the {str(meter).lower()}", "button": "Replace the meter"}
    return ask(request, "machines/cabinets/meter_replace.html", form, **context)


@allow(OWNER, ROUTE_HAND)
def meter_reset(request: HttpRequest, pk: int) -> HttpResponse:
    meter, moment = meter_or_404(pk), now()
    if meter.removed_at:
        return gone(request, meter)
    form = ResetForm(**sent(request), **when(request, moment), meter=meter)
    if form.is_valid() and accepted(
        form,
        actions.reset_meter,
        meter=meter,
        closing=form.last(),
        opening=form.cleaned_data["opening"],
        by=request.user,
        at=form.cleaned_data["at"],
        received_at=moment,
    ):
        return done(request, f"The {meter} counts on from there.", "cabinet-meters", meter.machine.code)
    context = {"machine": meter.machine, "meter": meter, "button": "Count on from there"}
    context |= {"title": f"The {str(meter).lower()} was set back", "text": "What it counted before stays in the books."}
    return ask(request, "machines/cabinets/form.html", form, **context)


@allow(OWNER)
def price_change(request: HttpRequest, code: str) -> HttpResponse:
    machine, moment = machine_or_404(code), now()
    meter = meters_in_use([machine.pk]).filter(counts=Counts.PLAYS).first()
    initial = {"price_cents": machine.price_cents}
    form = PriceForm(**sent(request), **when(request, moment), meter=meter, initial=initial)
    if form.is_valid() and accepted(
        form,
        actions.change_price,
        machine=machine,
        price_cents=form.cleaned_data["price_cents"],
        closing=form.last(),
        by=request.user,
        at=form.cleaned_data["at"],
        received_at=moment,
    ):
        return done(request, f"The price of {machine} was changed.", "cabinet", machine.code)
    text = "Plays so far stay worth the old price, so read the plays meter now." if meter else ""
    context = {"machine": machine, "title": "Price per play", "text": text, "button": "Change the price"}
    return ask(request, "machines/cabinets/form.html", form, **context)


def meter_or_404(pk: int) -> Meter:
    return get_object_or_404(queries.meters(), pk=pk)


def gone(request: HttpRequest, meter: Meter) -> HttpResponse:
    message = f"This {meter} was replaced already. Nothing was changed."
    return done(request, message, "cabinet-meters", meter.machine.code)
