"""Settlements: what is due, drafts line by line, issuing one or all."""

from datetime import date, timedelta
from uuid import UUID

from django.contrib import messages
from django.db.models import prefetch_related_objects
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from locations.sites.models import Location
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.tables import Column, Table
from routeapp.settlements import actions, actions_run, queries, queries_drafts, queries_unagreed
from routeapp.settlements.forms import BeforeForm, IssueForm, RunForm
from routeapp.settlements.models import Settlement, SettlementRun
from routeapp.settlements.queries_drafts import Draft
from routeapp.settlements.rules import spoken_days

SETTLEMENTS = Table(
    "settlements",
    (
        Column("number", "Number", "number", link=lambda one: reverse("settlement", args=[one.pk])),
        Column("location", "Location", "location.name"),
        Column("host", "Host", "location.host.name"),
        Column("days", "Days", lambda one: spoken_days(one.since, one.until), order="until"),
        Column("cents", "Amount", "cents", "cash"),
        Column("open", "Not paid yet", "open_cents", "cash"),
        Column(
            "state", "State", lambda one: queries.state_of(one)[0], "state", False,
            shape=lambda one: queries.state_of(one)[1],
        ),
        Column("issued", "Issued", "at", "moment"),
    ),
    find=("location__name", "location__host__name", "number"),
    hint="Location, host or number",
)  # fmt: skip


@allow(OWNER, BOOKKEEPER)
def settlements(request: HttpRequest) -> HttpResponse:
    """What hosts are owed, and every paper so far."""
    now = clock.now()
    context = queries.owed_in_all() | {
        "due": len(queries_drafts.due(now)) if request.GET.get("as") != "csv" and not request.htmx else 0,
        "none_yet": not Settlement.objects.exists(),
    }
    return SETTLEMENTS.answer(request, "routeapp/settlements/settlement_list.html", queries.settlements(), **context)


def _to_draft(draft: Draft) -> str:
    return reverse("settlement-draft", args=[draft.location.pk, draft.stretch.since.isoformat()])


def _remark(draft: Draft) -> str:
    if draft.missing:
        return "a bag is not counted"
    if draft.without_terms:
        return "take without terms"
    return "something came late" if draft.adjustments else ""


DUE = Table(
    "drafts",
    (
        Column("location", "Location", "location.name", link=_to_draft),
        Column("host", "Host", "location.host.name"),
        Column("days", "Days", "spoken", order=False),
        Column("take", "Take", "take", "cash", adds_up=True),
        Column("cents", "They get", "cents", "cash", adds_up=True),
        Column("open", "Open before", "carried", "cash"),
        Column("paid", "Paid since", "paid", "cash", adds_up=True),
        Column("closing", "To be paid", "closing", "cash"),
        Column("remark", "To look at", _remark, "state", shape=lambda _: "warn"),
    ),
    hint="Location or host",
)


@allow(OWNER, BOOKKEEPER)
def due(request: HttpRequest) -> HttpResponse:
    """Every settlement that can be issued now."""
    now = clock.now()
    found = queries_drafts.due(now)
    prefetch_related_objects([draft.location for draft in found], "host")
    last_run = SettlementRun.objects.first()
    context = {
        "many": len(found),
        "total": sum(draft.cents for draft in found),
        "unagreed": queries_unagreed.unagreed(now),
        "form": _run_form(request, found),
        "run": last_run if last_run and last_run.ended_at is None else None,
        "working": last_run and last_run.is_at_work(now),
        "none_yet": not Settlement.objects.exists(),
    }
    return DUE.answer(request, "routeapp/settlements/draft_list.html", found, **context)


def _run_form(request: HttpRequest, found: list[Draft]) -> RunForm:
    yesterday = timezone.localdate(clock.now()) - timedelta(days=1)
    last = max((draft.stretch.until for draft in found), default=yesterday)
    return RunForm(**sent(request), last=last, can_send=queries.is_set_up())


@allow(OWNER, BOOKKEEPER)
@require_POST
def run_start(request: HttpRequest) -> HttpResponse:
    form = _run_form(request, [])
    if form.is_valid() and accepted(form, actions_run.start, **form.facts(), by=request.user, at=clock.now()):
        return redirect("settlement-run", form.cleaned_data["uuid"])
    said = " ".join(text for each in form.errors.values() for text in each)
    messages.error(request, f"Nothing was issued. {said}")
    return redirect("settlements-due")


@allow(OWNER, BOOKKEEPER)
def run(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """How far it is, and what came of it."""
    found = get_object_or_404(SettlementRun.objects.select_related("by"), pk=uuid)
    working = found.is_at_work(clock.now())
    context = {"run": found, "working": working, "stopped": found.ended_at is None and not working}
    return htmx.page(request, "routeapp/settlements/run.html", context, part="state")


@allow(OWNER, BOOKKEEPER)
def draft(request: HttpRequest, pk: int, since: str) -> HttpResponse:
    """One draft line by line; posted, it is issued."""
    now = clock.now()
    location = get_object_or_404(Location.objects.select_related("host"), pk=pk)
    found = queries_drafts.draft(location, day_in(since), now)
    if found is None:
        return _not_a_draft(request, location, day_in(since))
    form = IssueForm(**sent(request), draft=found)
    if form.is_valid():
        try:
            said = {"location": location, "since": found.stretch.since, **form.cleaned_data}
            made = actions.issue(**said, by=request.user, at=now)
            return htmx.done(request, f"{made} is issued.", "settlement", made.pk)
        except Refused as refusal:
            form.add_error(None, refusal.message)
    return htmx.ask(request, "routeapp/settlements/draft.html", form, draft=found, location=location)


def _not_a_draft(request: HttpRequest, location: Location, since: date) -> HttpResponse:
    """Where a form was sent twice or another was quicker, the paper; else the location's account."""
    other = queries.live().filter(location=location, since=since).first()
    if other is None:
        messages.warning(request, "No settlement of this location starts on that day.")
        return redirect("location-account", location.pk)
    messages.info(request, f"{other} was issued for these days.")
    return redirect("settlement", other.pk)


def day_in(text: str) -> date:
    """A day in an address."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Http404 from None


@allow(OWNER, BOOKKEEPER)
def before(request: HttpRequest) -> HttpResponse:
    """Say that hosts were settled with up to a day by other means."""
    form = BeforeForm(**sent(request))
    if form.is_valid() and accepted(form, actions.settled_before, **form.cleaned_data, by=request.user, at=clock.now()):
        return htmx.done(request, "Settlements begin on the day after.", "settlements-due")
    return htmx.ask(request, "routeapp/settlements/before.html", form)
