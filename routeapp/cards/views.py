"""Which reader is in which cabinet, and the sales that nobody knows the cabinet of."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject
from django.views.decorators.http import require_POST

from routeapp.cards import actions, queries, rules
from routeapp.cards.forms import MatchForm, ReaderForm
from routeapp.cards.models import CardRow, ReaderMove
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.tables import Column, Table, person

READERS = Table(
    "card readers",
    (
        Column("serial", "Serial number", "serial", link=lambda one: reverse("card-reader", args=[one.serial])),
        Column("cabinet", "Cabinet", lambda one: one.machine.code if one.machine else "in none", order="machine__code"),
        Column("model", "Model", "machine.model.name"),
        Column("since", "Since", "at", "moment"),
        Column("who", "Who", person("by"), order="by__first_name"),
        Column("note", "Remarks", "note"),
    ),
    find=("serial", "machine__code", "machine__model__name", "note"),
    hint="Serial number, cabinet or model",
)


@allow(*EVERYONE)
def readers(request: HttpRequest) -> HttpResponse:
    return READERS.answer(request, "routeapp/cards/reader_list.html", queries.readers())


@allow(*EVERYONE)
def reader(request: HttpRequest, serial: str) -> HttpResponse:
    moves = list(queries.moves_of(serial)) if rules.SERIAL.fullmatch(serial) else []
    if not moves:
        raise Http404
    return htmx.page(request, "routeapp/cards/reader.html", {"serial": serial, "moves": moves})


@allow(*EVERYONE)
def reader_add(request: HttpRequest) -> HttpResponse:
    moment, zone = clock.now(), timezone.get_current_timezone_name()
    asked = {"serial": request.GET.get("serial", "")[:40].replace("\0", "")}
    form = ReaderForm(**sent(request), initial=asked, now=moment, zone=zone)
    if form.is_valid() and accepted(form, actions.fit_reader, **form.cleaned_data, by=request.user, received_at=moment):
        return htmx.done(request, "Written down. Its card sales since then count there.", "card-readers")
    return htmx.ask(request, "routeapp/cards/reader_form.html", form)


@allow(OWNER, BOOKKEEPER)
@require_POST
def reader_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    move = get_object_or_404(ReaderMove, pk=pk)
    actions.withdraw_reader_move(move=move, by=request.user, at=clock.now())
    return htmx.done(request, "Withdrawn. What stood before it holds again.", "card-reader", move.serial)


def _to_match(row: Any) -> str:
    return reverse("card-row-match", args=[row.pk])


ROWS = Table(
    "card sales without a cabinet",
    (
        Column("at", "When", "at", "moment"),
        Column("serial", "Reader", "serial"),
        Column("sale", "Sale", "sale_cents", "cash"),
        Column("reference", "Processor's number", "reference"),
        Column("statement", "Statement", "statement.name"),
        Column("number", "Row", "number", "count"),
        Column("do", "", lambda one: "Match it", "do", link=_to_match),
    ),
    find=("serial", "reference", "statement__name"),
    hint="Reader, number or statement",
)


@allow(OWNER, BOOKKEEPER)
def unmatched(request: HttpRequest) -> HttpResponse:
    context = {"shown": SimpleLazyObject(_waiting)}
    return ROWS.answer(request, "routeapp/cards/unmatched.html", queries.waiting().order_by("-at", "-pk"), **context)


def _waiting() -> dict[str, Any]:
    groups = queries.waiting_by_reader()
    return {"groups": groups, "total": sum(one["cents"] for one in groups), "astray": queries.astray().count()}


@allow(OWNER, BOOKKEEPER)
@require_POST
def match_again(request: HttpRequest) -> HttpResponse:
    changed = actions.match_again(by=request.user, at=clock.now())
    said = "None changed: readers and places are as before."
    if changed:
        said = f"{changed:,} row{' was' if changed == 1 else 's were'} put right, by where readers and cabinets were."
    return htmx.done(request, said, "cards-unmatched")


@allow(OWNER, BOOKKEEPER)
def row_match(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(CardRow.objects.select_related("statement"), pk=pk)
    form = MatchForm(**sent(request))
    if form.is_valid() and accepted(
        form, actions.match_row, row=row, **form.cleaned_data, by=request.user, at=clock.now()
    ):
        return htmx.done(request, f"The sale counts for {form.cleaned_data['machine']}.", "cards-unmatched")
    return htmx.ask(request, "routeapp/cards/row_match.html", form, row=row)
