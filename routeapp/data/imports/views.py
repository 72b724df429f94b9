"""Bringing a spreadsheet in: the file, its columns, what a check found, and the run itself."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from routeapp.data.imports import actions, queries
from routeapp.data.imports.forms import AnswerForm, DefaultsForm, SheetForm, SpreadsheetForm
from routeapp.data.imports.models import WORKING, SheetImport, State
from routeapp.kit import clock
from routeapp.kit.access import OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, page
from routeapp.kit.progress import progress
from routeapp.kit.reading.sheet import Unreadable


@allow(OWNER)
def imports(request: HttpRequest) -> HttpResponse:
    form = SpreadsheetForm(**sent(request))
    if form.is_valid() and accepted(form, actions.take_file, **form.cleaned_data, by=request.user, at=clock.now()):
        return redirect("import-columns", form.cleaned_data["uuid"])
    return ask(request, "routeapp/data/imports/imports.html", form, imports=queries.imports())


@allow(OWNER)
def columns(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What each column means. Asked with another heading row, the columns are guessed anew."""
    one = get_object_or_404(SheetImport, pk=uuid)
    said = {} if "again" in request.POST else sent(request)
    try:
        looked = queries.look(one)
    except Unreadable as problem:
        messages.error(request, str(problem))
        return redirect("imports")
    sheets = [
        SheetForm(**said, looked=each, number=number, heading=request.POST.get(f"s{number}-heading", ""))
        for number, each in enumerate(looked)
    ]
    defaults = DefaultsForm(**said, initial=_said_before(one, looked))
    if all([defaults.is_valid(), *[form.is_valid() for form in sheets]]):
        taken = [form.kept() for form in sheets if form.cleaned_data["take"]]
        plan = {**_answers(one, looked), **defaults.cleaned_data, "sheets": taken}
        if taken and accepted(defaults, _say_and_check, request=request, one=one, plan=plan):
            return redirect("import", uuid)
        if not taken:
            defaults.add_error(None, "Choose at least one sheet to take.")
    context = {"one": one, "sheets": sheets, "earlier": queries.earlier_of(one)}
    return ask(request, "routeapp/data/imports/columns.html", defaults, **context)


def _answers(one: SheetImport, looked: list[queries.Looked]) -> dict[str, Any]:
    """What was answered about this file, or about the last one with these headings."""
    remembered: dict[str, Any] = next((each.remembered.answers for each in looked if each.remembered), {})
    return {**remembered, **{name: one.plan[name] for name in ("order", "joins") if name in one.plan}}


def _said_before(one: SheetImport, looked: list[queries.Looked]) -> dict[str, Any]:
    return {"banked": True, "model": queries.only_model(), **_answers(one, looked), **one.plan}


def _say_and_check(*, request: HttpRequest, one: SheetImport, plan: dict[str, Any]) -> None:
    now = clock.now()
    actions.say(sheet_import=one, plan=plan, by=request.user, at=now)
    actions.start(sheet_import=one, work=State.CHECKING, by=request.user, at=now)


@allow(OWNER)
def sheet_import(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """How far it is, or what was found."""
    one = get_object_or_404(SheetImport.objects.select_related("by", "undone_by"), pk=uuid)
    return page(request, "routeapp/data/imports/import.html", _shown(one), part="state")


def _shown(one: SheetImport, form: AnswerForm | None = None) -> dict[str, Any]:
    stopped = queries.is_stopped(one)
    return {
        "one": one,
        "said": one.said(),
        "stopped": stopped,
        "working": one.state in WORKING and not stopped,
        "progress": progress(one),
        "form": form or _questions(one),
        "ready": one.state == State.CHECKED and not queries.not_ready(one),
    }


def _questions(one: SheetImport, data: Any = None) -> AnswerForm:
    questions, wrong = one.result.get("questions", {}), len(one.result.get("wrong_rows", []))
    return AnswerForm(data, questions=questions, wrong=0 if one.plan.get("without_wrong") else wrong)


@allow(OWNER)
@require_POST
def answer(request: HttpRequest, uuid: UUID) -> HttpResponse:
    one = get_object_or_404(SheetImport, pk=uuid)
    form = _questions(one, request.POST)
    if form.is_valid() and accepted(form, _say_and_check, request=request, one=one, plan=form.answers(one.plan)):
        return redirect("import", uuid)
    return page(request, "routeapp/data/imports/import.html", _shown(one, form), status=422)


@allow(OWNER)
@require_POST
def bring(request: HttpRequest, uuid: UUID) -> HttpResponse:
    return _start(request, uuid, State.BRINGING)


@allow(OWNER)
@require_POST
def undo(request: HttpRequest, uuid: UUID) -> HttpResponse:
    return _start(request, uuid, State.UNDOING)


def _start(request: HttpRequest, uuid: UUID, work: State) -> HttpResponse:
    one = get_object_or_404(SheetImport, pk=uuid)
    try:
        actions.start(sheet_import=one, work=work, by=request.user, at=clock.now())
    except Refused as refusal:
        messages.error(request, refusal.message)
    return redirect("import", uuid)
