"""Where every bag is, what was found in it, who has it, and who was over or short."""

from datetime import timedelta
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from routeapp.cash import actions, queries, queries_bag, queries_counts
from routeapp.cash.actions_blind import count_blind
from routeapp.cash.forms import BagCountForm, DaysForm, HandOverForm
from routeapp.cash.models import Bag, BagCount, Holder
from routeapp.cash.queries_deposits import deposit_of
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.tables import Column, Table, matching, person

BAGS_A_PAGE = 50
LONG_WAIT = timedelta(days=3)  # then a bag somebody forgot is still easy to ask after


def _to_bag(found: Any) -> str:
    return reverse("bag", args=[found.pk])


def _where_shape(found: Any) -> str:
    return "good" if found.holder == Holder.BANK else "none" if found.holder else "warn"


BAGS = Table(
    "bags",
    (
        Column("number", "Bag", str, order=Lower("number"), link=_to_bag),
        Column(
            "holds", "In it", lambda one: None if one.has_sealed and not one.counted else one.holds, "cash", "holds"
        ),
        Column("where", "Where", "where", "state", "holder", shape=_where_shape),
        Column("location", "Filled at", "location.name"),
        Column("filled", "Filled", "at", "moment", zone="location.time_zone"),
        Column("by", "By", person("by"), order="by__first_name"),
    ),
    hint="Number on the seal, location or person",
)
FIND = ("number", "location__name", "by__first_name", "by__username")


def _bags(text: str) -> QuerySet:
    return matching(queries_bag.newest(""), text.removeprefix("Bag "), FIND)


@allow(*EVERYONE)
def cash(request: HttpRequest) -> HttpResponse:
    sums = list(queries.held_by())
    held = _leaf(request, queries.bags_to_bank().order_by("holder", "with_person", "at", "pk"), "held")
    context = {
        "holders": queries_bag.grouped(sums, held),
        "total": sum(one["cents"] for one in sums),
        "many": sum(one["bags"] for one in sums),
        "uncounted": _leaf(request, queries.uncounted_bags(), "waiting"),
        "held": held,
        "old": clock.now() - LONG_WAIT,
    }
    return BAGS.answer(request, "routeapp/cash/cash.html", _bags, **context)


def _leaf(request: HttpRequest, rows: Any, name: str) -> Page:
    """One page of a list whose page number goes by `name` in the address; several lists share this one."""
    return Paginator(rows, BAGS_A_PAGE).get_page(request.GET.get(name))


@allow(*EVERYONE)
def bag(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(queries.bags(), pk=pk)
    inside = queries_bag.contents(found)
    counts = queries_bag.counts(found, inside)
    context = {
        "bag": found,
        "contents": inside,
        "counts": counts,
        "holding": next((one for one in counts if one.holds), None),
        "moves": queries_bag.moves(found),
        "banked": queries_bag.banked_cents(found),
        "blind": queries_counts.waiting(found).select_related("by"),
        "deposit": deposit_of(found),
        "whereabouts": found.whereabouts.select_related("person", "by", "withdrawn_by"),
    }
    return htmx.page(request, "routeapp/cash/bag.html", context)


def _is_banked(request: HttpRequest, found: Bag) -> HttpResponse | None:
    """The way back to its page for a bag that is at the bank, also when the same form was sent twice."""
    banked = found.holder == Holder.BANK
    return htmx.done(request, f"{found} is at the bank.", "bag", found.pk) if banked else None


@allow(*EVERYONE)
def bag_count(request: HttpRequest, pk: int) -> HttpResponse:
    found, moment = get_object_or_404(queries.bags(), pk=pk), clock.now()
    if banked := _is_banked(request, found):
        return banked
    contents, waiting = queries_bag.contents(found), queries_counts.waiting(found).select_related("by")
    others = [one for one in waiting if one.by != request.user]
    off = queries_bag.difference(found, contents)
    form = BagCountForm(**sent(request), off=off, by=request.user, others=others)
    if form.is_valid():
        action = count_blind if form.cleaned_data["blind"] else actions.count_bag
        facts = {"bag": found, **form.facts(), "by": request.user, "at": moment, "received_at": moment}
        if accepted(form, action, **facts):
            return htmx.done(request, f"{_kept(found)}{_scale(form)}", "bag", pk)
    return htmx.ask(request, "routeapp/cash/bag_count.html", form, bag=found, contents=contents, others=others)


def _kept(found: Bag) -> str:
    """What became of a count, in words."""
    people = len(queries_counts.waiting(found))
    if people > 1:
        return "The counts differ. Count again, each for yourself or together; nothing holds until then."
    if people:
        return "Your figure is kept aside until somebody else counted too. Nobody sees it before."
    return f"The count of {found} is kept."


def _scale(form: BagCountForm) -> str:
    return f" The scale said {'; '.join(form.scale())}." if form.scale() else ""


@allow(OWNER, BOOKKEEPER)
@require_POST
def bag_count_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    count = get_object_or_404(BagCount.objects.select_related("bag"), pk=pk)
    try:
        actions.withdraw_count(count=count, by=request.user, at=clock.now())
    except Refused as refusal:
        return htmx.refused(request, refusal, "bag", count.bag_id)
    return htmx.done(request, "Withdrawn. The count before it, if there is one, holds again.", "bag", count.bag_id)


@allow(OWNER, BOOKKEEPER)
@require_POST
def bag_hold_to_bank(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Bag, pk=pk)
    try:
        actions.hold_to_bank(bag=found, by=request.user, at=clock.now())
    except Refused as refusal:
        return htmx.refused(request, refusal, "bag", pk)
    return htmx.done(request, "What went to the bank is what it held; the rest is over or short.", "bag", pk)


@allow(*EVERYONE)
def bag_hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    found, moment = get_object_or_404(queries.bags(), pk=pk), clock.now()
    if banked := _is_banked(request, found):
        return banked
    form = HandOverForm(**sent(request), bag=found, now=moment)
    if form.is_valid() and accepted(
        form, actions.hand_over, bag=found, **form.facts(), by=request.user, received_at=moment
    ):
        return htmx.done(request, f"Noted who has {found}.", "bag", pk)
    return htmx.ask(request, "routeapp/cash/bag_hand_over.html", form, bag=found)


COUNTED = Table(
    "over and short",
    (
        Column("number", "Bag", str, link=_to_bag),
        Column("by", "Filled by", person("by")),
        Column("location", "Location", "location.name"),
        Column("counted", "Counted", "counted_at", "moment", zone="location.time_zone"),
        Column("off", "Over or short", "off", "over_short", adds_up=True),
    ),
    hint="Number, person or location",
)


@allow(OWNER, BOOKKEEPER)
def over_short(request: HttpRequest) -> HttpResponse:
    zone = timezone.get_current_timezone_name()
    days = DaysForm(request.GET, today=timezone.localdate(clock.now()))
    fillers = queries_bag.over_short(days.first, days.last, zone)
    counted = [one for filler in fillers for one in filler.bags]
    context = {"days": days, "fillers": fillers, "net": sum(one.net for one in fillers)}
    return COUNTED.answer(request, "routeapp/cash/over_short.html", counted, **context)
