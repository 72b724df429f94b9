"""What the processor holds, and its statements: the file, its columns, what a check found, in and out of the books."""

from functools import partial
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject
from django.views.decorators.http import require_POST

from routeapp.cards import actions, queries, queries_statement
from routeapp.cards.forms import KindsForm, StatementFileForm, StatementForm
from routeapp.cards.models import CardStatement
from routeapp.cards.rules import VOCABULARY, Parts
from routeapp.kit import at_work, clock, memory
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.at_work import Work
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, refused, tell_not_taken, waiting
from routeapp.kit.reading.sheet import Unreadable
from routeapp.kit.tables import Column, Table, person


def _state(one: Any) -> tuple[str, str]:
    if one.brought_at:
        return ("withdrawn", "none") if one.withdrawn_at else ("in the books", "good")
    return ("to be looked at", "warn")


STATEMENTS = Table(
    "card statements",
    (
        Column("name", "Statement", "name", link=lambda one: reverse("card-statement", args=[one.pk])),
        Column("state", "State", lambda one: _state(one)[0], "state", "brought_at", shape=lambda one: _state(one)[1]),
        Column("until", "Tells until", "until", "moment"),
        Column("many", "Rows", "many", "count"),
        Column("sold", "Sales", "sold", "cash"),
        Column("when", "Came", "received_at", "moment"),
        Column("who", "Who", person("by"), order="by__first_name"),
    ),
    find=("name", "by__first_name", "by__username"),
    hint="File or person",
)


@allow(OWNER, BOOKKEEPER)
def cards(request: HttpRequest) -> HttpResponse:
    context = {"shown": SimpleLazyObject(_held), "key": memory.key(request)}
    return STATEMENTS.answer(request, "routeapp/cards/cards.html", queries.statements(), **context)


def _held() -> dict[str, Any]:
    waiting = queries.waiting_by_reader()
    return {
        "held": queries.held_by_processor(),
        "waiting": sum(one["many"] for one in waiting),
        "waiting_cents": sum(one["cents"] for one in waiting),
        "until": queries.known_until(),
        "payouts": queries.tells_of_payouts(),
        "astray": queries.astray().count(),
    }


@allow(OWNER, BOOKKEEPER)
def statement_add(request: HttpRequest) -> HttpResponse:
    form = StatementFileForm(**sent(request))
    if form.is_valid() and accepted(form, actions.take_file, **form.cleaned_data, by=request.user, at=clock.now()):
        return redirect("card-statement-columns", form.cleaned_data["uuid"])
    return ask(request, "routeapp/cards/statement_add.html", form)


@allow(OWNER, BOOKKEEPER)
def columns(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What each column means. Asked with another heading row, the columns are guessed anew."""
    one = get_object_or_404(CardStatement, pk=uuid)
    if one.is_at_work:
        tell_not_taken(request)
        return redirect("card-statement", uuid)
    try:
        looked = queries_statement.looked_at(one)
    except Unreadable as problem:
        messages.error(request, str(problem))
        return redirect("card-statement-add")
    again = "again" in request.POST
    first = {"zone": timezone.get_current_timezone_name()} | (one.said or queries.said_before(one.signature, one.pk))
    if again:
        first = {"zone": request.POST.get("zone"), "heading": request.POST.get("heading")}
    form = StatementForm(**({} if again else sent(request)), look=looked, vocabulary=VOCABULARY, remembered=first)
    if form.is_valid():
        said = {**form.kept(), "kinds": first.get("kinds", {})}
        signature = looked.signature(said["heading"])
        if accepted(form, _say, request=request, one=one, said=said, signature=signature):
            return redirect("card-statement", uuid)
    context = {"one": one, "notes": looked.sheet.notes, "remembered": "columns" in first and not one.said}
    return ask(request, "routeapp/cards/columns.html", form, **context)


def _say(*, request: HttpRequest, one: CardStatement, **said: Any) -> None:
    do = partial(actions.say, statement=one, **said, by=request.user, at=clock.now())
    at_work.start(kept=one, work=Work.READING, do=do)


@allow(OWNER, BOOKKEEPER)
def statement(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What a check found, and what its words for kinds mean."""
    one = get_object_or_404(CardStatement.objects.select_related("by", "withdrawn_by"), pk=uuid)
    if wait := waiting(request, one):
        return wait
    if not one.said:
        return redirect("card-statement-columns", uuid)
    kinds = [tuple(kind) for kind in one.found.get("kinds", [])]
    form = KindsForm(**sent(request), kinds=kinds)
    if form.is_valid() and request.method == "POST":
        said = {**one.said, "kinds": {**one.said.get("kinds", {}), **form.kinds()}}
        if accepted(form, _say, request=request, one=one, said=said):
            return redirect("card-statement", uuid)
    return ask(request, "routeapp/cards/statement.html", form, **_shown(one))


def _shown(one: CardStatement) -> dict[str, Any]:
    return {
        "one": one,
        "in_books": bool(one.brought_at) and not one.withdrawn_at,
        "brought": one.rows.live().count(),
        "found": one.found,
        "sums": Parts(*one.found.get("sums") or ()),
        "problems": [{"row": row, "column": column, "text": text} for row, column, text in one.found["problems"]],
        "more": one.found["wrong"] - len(one.found["problems"]),
        "open": [word for word, _, kind in one.found["kinds"] if not kind],
    }


@allow(OWNER, BOOKKEEPER)
@require_POST
def bring(request: HttpRequest, uuid: UUID) -> HttpResponse:
    one = get_object_or_404(CardStatement, pk=uuid)
    do = partial(actions.bring_in, statement=one, by=request.user, at=clock.now())
    try:
        many = at_work.start(kept=one, work=Work.BRINGING, do=do)
    except Refused as refusal:
        return refused(request, refusal, "card-statement", uuid)
    if many is None:
        return redirect("card-statement", uuid)
    said = (
        f"{many:,} row{' is' if many == 1 else 's are'} in the books." if many else "All its rows were there already."
    )
    return done(request, said, "card-statement", uuid)


@allow(OWNER, BOOKKEEPER)
@require_POST
def withdraw(request: HttpRequest, uuid: UUID) -> HttpResponse:
    one = get_object_or_404(CardStatement, pk=uuid)
    do = partial(actions.withdraw, statement=one, by=request.user, at=clock.now())
    try:
        at_work.start(kept=one, work=Work.WITHDRAWING, do=do)
    except Refused as refusal:
        return refused(request, refusal, "card-statement", uuid)
    return redirect("card-statement", uuid)
