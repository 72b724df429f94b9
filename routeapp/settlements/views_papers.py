"""One issued settlement: the paper, what is behind each line, making it void, sending it; and behind drafts."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from locations.agreements.rules_periods import Stretch
from locations.sites.models import Location
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.tables import Column, Table
from routeapp.settlements import actions, actions_mail, queries, queries_drafts, queries_facts
from routeapp.settlements.forms import SendForm, VoidForm
from routeapp.settlements.models import Settlement
from routeapp.settlements.queries_paper import how, paper, shown
from routeapp.settlements.rules import spoken, spoken_days
from routeapp.settlements.rules_paper import pdf
from routeapp.settlements.views import day_in


def _found(pk: int) -> Settlement:
    return get_object_or_404(queries.settlements(), pk=pk)


@allow(OWNER, BOOKKEEPER)
def settlement(request: HttpRequest, pk: int) -> HttpResponse:
    """The paper, how it stands, and what was done with it."""
    one = _found(pk)
    context = {
        "shown": shown(one),
        "one": one,
        "state": queries.state_of(one),
        "letters": one.letters.select_related("by"),
        "newer": Settlement.objects.filter(replaces=one).first(),
        "adjusted": queries.adjusted(one),
        "late": queries_drafts.waiting_adjustment(one, clock.now()),
    }
    return htmx.page(request, "routeapp/settlements/settlement.html", context)


def answer_pdf(one: Settlement, request: HttpRequest) -> HttpResponse:
    content = pdf(paper(shown(one), request.business), us_letter=one.currency == "USD")
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="settlement-{one.number}.pdf"'
    return response


@allow(OWNER, BOOKKEEPER)
def settlement_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    return answer_pdf(_found(pk), request)


@allow(OWNER, BOOKKEEPER)
def void(request: HttpRequest, pk: int) -> HttpResponse:
    one = _found(pk)
    form = VoidForm(**sent(request))
    if form.is_valid() and accepted(
        form, actions.void, settlement=one, **form.cleaned_data, by=request.user, at=clock.now()
    ):
        return htmx.done(request, f"{one} is void. Its days are a draft again.", "settlement", pk)
    return htmx.ask(request, "routeapp/settlements/void.html", form, one=one)


@allow(OWNER, BOOKKEEPER)
def send(request: HttpRequest, pk: int) -> HttpResponse:
    one = _found(pk)
    form = SendForm(**sent(request), host=one.location.host)
    if form.is_valid() and accepted(
        form, actions_mail.send, settlement=one, **form.cleaned_data, by=request.user, at=clock.now()
    ):
        letter = one.letters.get(uuid=form.cleaned_data["uuid"])
        said = f"It was not sent. {letter.problem}" if letter.problem else f"Sent to {letter.to}."
        return htmx.done(request, said, "settlement", pk)
    return htmx.ask(request, "routeapp/settlements/send.html", form, one=one, problem=queries.cannot_send(one))


FACTS = Table(
    "money behind a settlement",
    (
        Column("day", "Day", "day", "day"),
        Column("cabinet", "Cabinet", "machine.code"),
        Column("what", "What", queries_facts.what, order=False),
        Column("cents", "Amount", queries_facts.amount, "cash", "cents"),
        Column("received", "Received", "received_at", "moment"),
        Column("late", "Remark", lambda one: "came after it was issued" if one.came_late else "", "state", "came_late",
               shape=lambda _: "warn"),
        Column("visit", "", lambda one: "Open the visit" if one.visit else "", order=False,
               link=lambda one: reverse("visit", args=[one.visit]) if one.visit else ""),
    ),
    find=("machine__code",),
    hint="Cabinet",
)  # fmt: skip


@allow(OWNER, BOOKKEEPER)
def line(request: HttpRequest, pk: int, place: int) -> HttpResponse:
    """The moves behind one line of an issued settlement."""
    one = _found(pk)
    found = get_object_or_404(one.lines.select_related("machine", "adjusts"), place=place)
    days = spoken_days(found.since, found.until)
    context = {"one": one, "line": found, "how": how(found), "location": one.location, "days": days}
    return FACTS.answer(request, "routeapp/settlements/facts.html", queries_facts.behind(found), **context)


@allow(OWNER, BOOKKEEPER)
def draft_facts(request: HttpRequest, pk: int, since: str) -> HttpResponse:
    """The moves behind a draft."""
    location = get_object_or_404(Location.objects.select_related("host"), pk=pk)
    found = queries_drafts.draft(location, day_in(since), clock.now())
    stretch = found.stretch if found else Stretch(day_in(since), day_in(since))
    rows = queries_facts.facts(location, stretch)
    context = {"draft": found, "location": location, "days": spoken(stretch)}
    return FACTS.answer(request, "routeapp/settlements/facts.html", rows, **context)
