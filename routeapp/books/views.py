"""The books: what is closed, what should be settled before the next month is, and the journal as a file."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_POST

from routeapp.books import actions, rules
from routeapp.books import queries_checklist as queries
from routeapp.books.forms import CloseForm, ReopenForm, year_of
from routeapp.books.models import MonthClose
from routeapp.books.queries_journal import chart, journal
from routeapp.books.queries_worked import first_month
from routeapp.kit import clock, htmx, money, sheets
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted
from routeapp.team.queries import business

LINES_AT_ONCE = 500  # of a file, so that it does not go out line by line


@allow(OWNER, BOOKKEEPER)
def books(request: HttpRequest) -> HttpResponse:
    return _shown(request)


def _shown(request: HttpRequest, form: CloseForm | None = None) -> HttpResponse:
    now, month, first = clock.now(), queries.next_to_close(), first_month()
    today = timezone.localdate(now)
    over = month is not None and queries.is_over(month, today)
    context = {
        "form": form or CloseForm(initial={"month": month}),
        "month": month,
        "over": over,
        "points": queries.checklist(month, now) if month and over else [],
        "last": queries.newest(),
        "closes": queries.closes(),
        "years": range(today.year, first.year - 1, -1) if first else [],
    }
    return htmx.page(request, "routeapp/books/books.html", context, status=422 if form else 200)


@allow(OWNER, BOOKKEEPER)
@require_POST
def close(request: HttpRequest) -> HttpResponse:
    form = CloseForm(request.POST)
    if form.is_valid() and accepted(form, actions.close_month, **form.cleaned_data, by=request.user, at=clock.now()):
        return htmx.done(request, f"{form.cleaned_data['month']:%B %Y} is closed.", "books")
    return _shown(request, form)


@allow(OWNER, BOOKKEEPER)
@require_POST
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    found, form = get_object_or_404(MonthClose, pk=pk), ReopenForm(request.POST)
    try:
        reason = form.cleaned_data["reason"] if form.is_valid() else ""
        actions.reopen_month(close=found, reason=reason, by=request.user, at=clock.now())
    except Refused as refusal:
        return htmx.refused(request, refusal, "books")
    return htmx.done(request, f"{found} is open again.", "books")


@allow(OWNER, BOOKKEEPER)
def journal_csv(request: HttpRequest) -> StreamingHttpResponse:
    """All entries until today, or those of them that are booked in one year."""
    today = timezone.localdate(clock.now())
    year = year_of(request.GET.get("year"), today)
    entries: Iterable[Any] = journal(min(today, date(year, 12, 31)) if year else today)
    if year:
        entries = (one for one in entries if one.day.year == year)
    name = f"journal-{year or 'all'}"
    lines = sheets.lines(rules.rows(entries, money.active()))
    return _file(lines, f"{name}.csv", "text/csv; charset=utf-8")


@allow(OWNER, BOOKKEEPER)
def ledger(request: HttpRequest) -> StreamingHttpResponse:
    book = chart()
    entries = journal(timezone.localdate(clock.now()), book)
    lines = rules.ledger(entries, book.all(), business().name, money.active())
    return _file(lines, "books.beancount", "text/plain; charset=utf-8")


def _file(lines: Iterable[str], name: str, kind: str) -> StreamingHttpResponse:
    response = StreamingHttpResponse(_blocks(lines), content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _blocks(lines: Iterable[str]) -> Iterable[str]:
    block: list[str] = []
    for line in lines:
        block.append(line)
        if len(block) == LINES_AT_ONCE:
            yield "".join(block)
            block = []
    yield "".join(block)
