"""The bank's statements, and which of their rows are which of our moves of money."""

from datetime import timedelta
from functools import partial
from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from routeapp.cash import actions_bank as actions
from routeapp.cash import queries_bank as queries
from routeapp.cash.forms_bank import AsideForm, BookForm, MatchForm, StatementColumnsForm, StatementForm
from routeapp.cash.models_bank import BankRow, How, Statement
from routeapp.cash.rules_statement import VOCABULARY
from routeapp.kit import at_work, clock, htmx
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.at_work import Work
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.reading.sheet import Unreadable
from routeapp.kit.tables import Column, Table

COLUMNS = "routeapp/cash/statement_columns.html"
MOST_COMPARED = 300  # rows and events that the page compares with each other
OTHERS_WITHIN = timedelta(days=7)


def _to_row(row: Any) -> str:
    return reverse("bank-row", args=[row.pk])


def _state(row: Any) -> tuple[str, str]:
    shape = {None: "warn", How.ASIDE: "none"}.get(row.how, "good")
    return (How(row.how).label if row.how else "Not matched yet"), shape


ROWS = Table(
    "bank rows",
    (
        Column("day", "Day", "day", "day", link=_to_row),
        Column("cents", "Amount", "cents", "cash"),
        Column("text", "What it says", "text"),
        Column("state", "State", lambda row: _state(row)[0], "state", "how", shape=lambda row: _state(row)[1]),
        Column("account", "Account", "statement.account"),
    ),
    find=("text", "statement__account"),
    hint="What a row says, or account",
)


@allow(OWNER, BOOKKEEPER)
def bank(request: HttpRequest) -> HttpResponse:
    """What waits for somebody; the table holds the rows that nobody matched, or all of them."""
    every = "all" in request.GET
    rows, events = list(queries.unmatched_rows()[:MOST_COMPARED]), queries.unmatched_events()
    settled = clock.now() - timedelta(days=3)  # what left today is not on a statement yet
    context = {
        "every": every,
        "waiting": queries.unmatched_rows().count(),
        "proposals": queries.proposals(rows, events[:MOST_COMPARED]),
        "events": [event for event in events if event.at < settled][:MOST_COMPARED],
        "loose": queries.loose_matches()[:MOST_COMPARED],
        "statements": queries.statements()[:12],
    }
    return ROWS.answer(
        request, "routeapp/cash/bank.html", queries.rows() if every else queries.unmatched_rows(), **context
    )


@allow(OWNER, BOOKKEEPER)
def statement_add(request: HttpRequest) -> HttpResponse:
    form = StatementForm(**sent(request))
    if form.is_valid() and accepted(form, actions.take_statement, **form.cleaned_data, by=request.user, at=clock.now()):
        return redirect("bank-statement", form.cleaned_data["uuid"])
    return htmx.ask(request, "routeapp/cash/statement_add.html", form)


@allow(OWNER, BOOKKEEPER)
def statement(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What its columns mean, and how its first rows read by that; later, what came of it. Asked with another heading
    row, they are guessed anew."""
    one = get_object_or_404(queries.statements(), uuid=uuid)
    if wait := htmx.waiting(request, one):
        return wait
    if one.rows_new is not None or one.withdrawn_at:
        return htmx.page(request, "routeapp/cash/statement.html", {"one": one})
    try:
        looked = queries.looked_at(one)
    except Unreadable as problem:
        messages.error(request, str(problem))
        return redirect("bank-statement-add")
    again, before = "again" in request.POST, queries.remembered(one)
    first = {"zone": timezone.get_current_timezone_name(), "account": before.account if before else ""}
    first |= _again(request) if again else _said(one) or (before.said if before else {})
    given = {} if again else sent(request)
    form = StatementColumnsForm(**given, look=looked, vocabulary=VOCABULARY, remembered=first)
    context = {"one": one, "notes": looked.sheet.notes, "remembered": before and not again}
    if "look" in request.POST:
        return htmx.page(request, COLUMNS, {"form": form, **context}, part="read")
    if form.is_valid():
        said = form.kept()
        told = {"said": said, "account": form.cleaned_data["account"], "signature": looked.signature(said["heading"])}
        do = partial(actions.bring_rows, statement=one, **told, by=request.user, at=clock.now())
        if accepted(form, at_work.start, kept=one, work=Work.BRINGING, do=do, **told):
            return redirect("bank-statement", uuid)
    return htmx.ask(request, COLUMNS, form, **context)


def _said(one: Statement) -> dict[str, Any]:
    """What was said before the work on it came to nothing."""
    return one.said | {"account": one.account} if one.said else {}


def _again(request: HttpRequest) -> dict[str, Any]:
    """What holds when the headings stand in another row."""
    return {name: request.POST.get(name, "") for name in ("heading", "account")}


@allow(OWNER, BOOKKEEPER)
@require_POST
def statement_withdraw(request: HttpRequest, uuid: UUID) -> HttpResponse:
    one = get_object_or_404(Statement, uuid=uuid)
    do = partial(actions.withdraw_statement, statement=one, by=request.user, at=clock.now())
    try:
        through = at_work.start(kept=one, work=Work.WITHDRAWING, do=do)
    except Refused as refusal:
        return htmx.refused(request, refusal, "bank-statement", uuid)
    if through is None:
        return redirect("bank-statement", uuid)
    return htmx.done(request, f"{one} is withdrawn, with its rows and their matches.", "bank")


@allow(OWNER, BOOKKEEPER)
def row(request: HttpRequest, pk: int) -> HttpResponse:
    return _shown(request, _row(pk))


def _row(pk: int) -> Any:
    return get_object_or_404(queries.rows(), pk=pk)


def _others(found: BankRow) -> Any:
    near = {"day__gte": found.day - OTHERS_WITHIN, "day__lte": found.day + OTHERS_WITHIN}
    return queries.unmatched_rows().filter(**near).exclude(pk=found.pk)[:10]


def _shown(request: HttpRequest, found: Any, **forms: Any) -> HttpResponse:
    if found.match:
        rows, events, lines = queries.matched_with(found.match)
        context = {"row": found, "rows": rows, "events": events, "line": lines[0], "state": _state(found)}
        return htmx.page(request, "routeapp/cash/bank_row_matched.html", context)
    made = {"match": _match_form(found), "book": BookForm(), "aside": AsideForm(), **forms}
    status = 422 if forms else 200
    return htmx.page(request, "routeapp/cash/bank_row.html", {"row": found, **made}, status=status)


def _match_form(found: Any, data: Any = None) -> MatchForm:
    known = queries.candidates(found, queries.unmatched_events(queries.MATCHED_BY_HAND))
    return MatchForm(data, known=known, others=_others(found))


@allow(OWNER, BOOKKEEPER)
@require_POST
def row_match(request: HttpRequest, pk: int) -> HttpResponse:
    found = _row(pk)
    form = _match_form(found, request.POST)
    if not found.match and form.is_valid():
        said = form.cleaned_data
        rows = [found, *BankRow.objects.filter(pk__in=said.get("rows", ()))]
        facts = {"uuid": said["uuid"], "rows": rows, "events": said["events"], "reason": said["reason"]}
        if accepted(form, actions.match, **facts, how=How.HAND, by=request.user, at=clock.now()):
            return htmx.done(request, "Matched.", "bank")
    return _shown(request, found, match=form)


@allow(OWNER, BOOKKEEPER)
@require_POST
def row_confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """A proposal confirmed: near in amount and day."""
    said = {"events": [request.POST.get("event", "")], "how": How.NEAR, "by": request.user, "at": clock.now()}
    try:
        found = _row(pk)
        actions.match(uuid=uuid4(), rows=[found], reason="confirmed as near in amount and day", **said)
    except Refused as refusal:
        return htmx.refused(request, refusal, "bank")
    return htmx.done(request, "Confirmed. A difference went over or short.", "bank")


@allow(OWNER, BOOKKEEPER)
@require_POST
def row_book(request: HttpRequest, pk: int) -> HttpResponse:
    found, form = _row(pk), BookForm(request.POST)
    facts = {"row": found, "by": request.user, "at": clock.now()}
    if not found.match and form.is_valid() and accepted(form, actions.book_row, **form.cleaned_data, **facts):
        return htmx.done(request, "Written into the books.", "bank")
    return _shown(request, found, book=form)


@allow(OWNER, BOOKKEEPER)
@require_POST
def row_aside(request: HttpRequest, pk: int) -> HttpResponse:
    found, form = _row(pk), AsideForm(request.POST)
    facts = {"row": found, "by": request.user, "at": clock.now()}
    if not found.match and form.is_valid() and accepted(form, actions.set_aside, **form.cleaned_data, **facts):
        return htmx.done(request, "Set aside.", "bank")
    return _shown(request, found, aside=form)


@allow(OWNER, BOOKKEEPER)
@require_POST
def row_undo(request: HttpRequest, pk: int) -> HttpResponse:
    found = _row(pk)
    if found.match:
        actions.undo_match(source=found.match, by=request.user, at=clock.now())
    return htmx.done(request, "Apart again. What the match wrote into the books was taken back.", "bank-row", pk)
