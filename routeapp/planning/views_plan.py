"""Asking for a plan, waiting for it or not, looking at it, and taking it into use."""

from datetime import timedelta
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from routeapp.kit import clock
from routeapp.kit.access import OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page, refused
from routeapp.planning import actions_plan, actions_rounds, queries_crew, queries_proposal
from routeapp.planning.forms_plan import PlanForm
from routeapp.planning.models_rounds import Proposal


@allow(OWNER)
def plan_start(request: HttpRequest) -> HttpResponse:
    now = clock.now()
    today = clock.local_day(now, timezone.get_current_timezone_name())
    drivers = queries_crew.drivers()
    last = queries_proposal.proposals().first()
    before = {name: getattr(last, name) for name in ("days", "vary_cents", "seconds")} if last else {}
    initial = {"drivers": drivers, "first_day": today + timedelta(days=1), "days": 5, "seconds": 10, **before}
    form = PlanForm(**sent(request), today=today, initial=initial)
    if form.is_valid() and accepted(form, actions_plan.start, **form.cleaned_data, by=request.user, at=now):
        return redirect("plan", form.cleaned_data["uuid"])
    context = {"drivers": drivers, "earlier": queries_proposal.proposals(), "pins": queries_crew.pins(today)}
    return ask(request, "routeapp/planning/plan_form.html", form, **context)


@allow(OWNER)
def plan(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The best found so far while it still thinks, and the plan when it is through."""
    one = get_object_or_404(Proposal.objects.select_related("by"), pk=uuid)
    shown = queries_proposal.shown(one, clock.now(), timezone.get_current_timezone_name())
    return page(request, "routeapp/planning/plan.html", {"shown": shown}, part="state")


@allow(OWNER)
@require_POST
def plan_use(request: HttpRequest, uuid: UUID) -> HttpResponse:
    one = get_object_or_404(Proposal, pk=uuid)
    try:
        made = actions_rounds.use_proposal(proposal=one, by=request.user, at=clock.now())
    except Refused as refusal:
        return refused(request, refusal, "plan", uuid)
    many = len(made)
    return done(request, "One round stands now." if many == 1 else f"{many} rounds stand now.", "rounds")
