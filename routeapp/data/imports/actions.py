"""Bringing a spreadsheet in: taking the file, keeping what was said about it, and putting it to work."""

import hashlib
import logging
from collections.abc import Callable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from routeapp.data.imports import queries
from routeapp.data.imports.actions_bring import bring
from routeapp.data.imports.actions_undo import take_back_import
from routeapp.data.imports.models import RememberedColumns, SheetImport, State
from routeapp.data.imports.rules_plan import from_json
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same
from routeapp.kit.progress import Told, go_on, is_large
from routeapp.kit.reading import files
from routeapp.kit.reading.sheet import Unreadable
from routeapp.kit.rows import write
from routeapp.kit.snapshot import apart

REMEMBERED = ("order", "joins", "count_cents", "banked")

# From where each kind of work may start, and where it leads.
STARTS = {
    State.CHECKING: (State.CHOOSING, State.CHECKED, State.UNDONE),
    State.BRINGING: (State.CHECKED,),
    State.UNDOING: (State.DONE,),
}
BEFORE = {State.CHECKING: State.CHOOSING, State.BRINGING: State.CHECKED, State.UNDOING: State.DONE}


@transaction.atomic
def take_file(*, uuid: UUID, file: Any, by: Any, at: datetime) -> SheetImport:
    """Keep a file to look at; the same form sent twice is one. Refuses a file that cannot be read."""
    lock(uuid)
    if made := SheetImport.objects.filter(pk=uuid).first():
        return same(made, name=file.name[:200])
    digest = hashlib.sha256()
    for chunk in file.chunks():
        digest.update(chunk)
    kept = SheetImport(uuid=uuid, name=file.name[:200], digest=digest.hexdigest(), by=by, received_at=at)
    files.keep(uuid=uuid, kept=kept, file=file, look=queries.look)
    kept.save(force_insert=True)
    audit.record("took a spreadsheet to look at", kept, by=by, at=at)
    return kept


@transaction.atomic
def say(*, sheet_import: SheetImport, plan: dict[str, Any], by: Any, at: datetime) -> SheetImport:
    """Keep what a person said about a file, and remember it for the next one that looks the same.

    Refuses while it is at work, once it was brought in, and where the file is gone.
    """
    one = SheetImport.objects.select_for_update().get(pk=sheet_import.pk)
    one.state = _settled(one)
    if one.state not in STARTS[State.CHECKING]:
        raise Refused("This file is at work or was brought in already. Nothing was changed.")
    one.plan, one.result, one.state = plan, {}, State.CHOOSING
    one.save(update_fields=["plan", "result", "state"])
    for looked in _looked_at(one):
        _remember(one, looked, at)
    audit.record("said what the columns mean in", one, by=by, at=at)
    return one


def _looked_at(one: SheetImport) -> list[queries.Looked]:
    try:
        return queries.look(one)
    except Unreadable as problem:
        raise Refused(str(problem)) from None


def _remember(one: SheetImport, looked: queries.Looked, at: datetime) -> None:
    said = next((sheet for sheet in from_json(one.plan).sheets if sheet.name == looked.sheet.name), None)
    if said is not None:
        RememberedColumns.objects.update_or_create(
            signature=queries.digest_of(looked.headings(said.heading)),
            defaults={
                "columns": said.columns,
                "answers": {name: one.plan[name] for name in REMEMBERED if name in one.plan},
                "received_at": at,
            },
        )


def _settled(one: SheetImport) -> State:
    """Its state, or the one before where the server ended while it was at work."""
    return BEFORE[State(one.state)] if queries.is_stopped(one) else State(one.state)


def start(*, sheet_import: SheetImport, work: State, by: Any, at: datetime) -> SheetImport:
    """Put a file to work: check it, bring it in or take it back. Small files are through at once, others go on by
    themselves while the page can be left. Asked twice it is started once."""
    with transaction.atomic():
        one = SheetImport.objects.select_for_update().get(pk=sheet_import.pk)
        if one.state == work and not queries.is_stopped(one):
            return one
        if _settled(one) not in STARTS[work]:
            raise Refused(f"{one} is {one.get_state_display().lower()}. Nothing was changed.")
        if work == State.BRINGING and (text := queries.not_ready(one)):
            raise Refused(text)
        one.state = work
        Told(one)("Starting")
        one.save(update_fields=["state"])
    if is_large(one):
        go_on(one, lambda told: _work(one, told, by, at))
    else:
        told = Told(one)
        _work(one, told, by, at)
        told.end()
    return one


def _work(one: SheetImport, told: Told, by: Any, at: datetime) -> None:
    work = State(one.state)
    try:
        columns = WORK[work](one, told, by, at)
    except Unreadable as problem:
        columns = {"state": BEFORE[work], "result": {"unreadable": str(problem)}}
    except Exception:
        logging.getLogger(__name__).exception("An import broke off")
        columns = {"state": BEFORE[work], "result": {**one.result, "broken": True}}
    with transaction.atomic():  # in the queue of writers
        write(one, columns)


def _check(one: SheetImport, told: Told, by: Any, at: datetime) -> dict[str, Any]:
    with apart():
        return {"state": State.CHECKED, "result": bring(sheet_import=one, dry=True, progress=told, by=by, at=at)}


def _bring(one: SheetImport, told: Told, by: Any, at: datetime) -> dict[str, Any]:
    def settle(result: dict[str, Any]) -> None:
        write(one, {"state": State.DONE, "result": result, "done_at": at})
        audit.record("brought in a spreadsheet", one, by=by, at=at)

    result = bring(sheet_import=one, dry=False, progress=told, by=by, at=at, settle=settle)
    return {"state": State.DONE if result.get("written") else State.CHECKED, "result": result}


@transaction.atomic
def _undo(one: SheetImport, told: Told, by: Any, at: datetime) -> dict[str, Any]:
    result = one.result | take_back_import(sheet_import=one, progress=told, by=by, at=at)
    columns = {"state": State.UNDONE, "result": result, "undone_by": by, "undone_at": at}
    write(one, columns)
    audit.record("took back a spreadsheet", one, by=by, at=at)
    return columns


WORK: dict[State, Callable] = {State.CHECKING: _check, State.BRINGING: _bring, State.UNDOING: _undo}
