"""The evening's page, the service entries behind each of its figures, and both as files."""

from datetime import date
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from routeapp.earnings import queries, queries_report, queries_sheets, rules, rules_figures
from routeapp.earnings.forms import SpanForm, TakesForm, order_in
from routeapp.earnings.queries_report import COLUMNS, in_order
from routeapp.kit import clock, memory, sheets
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, allow, may
from routeapp.kit.htmx import page

LINES_A_PAGE = 50


def _sees_shares(request: HttpRequest) -> bool:
    """What hosts get is for those who may also read the agreements."""
    return may(request.user, OWNER, BOOKKEEPER)


@allow(*EVERYONE)
def earnings(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate(clock.now())
    form, wish = SpanForm(request.GET, today=today), order_in(request.GET)
    context = {
        "form": form,
        "names": rules.NAMED,
        "wish": wish,
        "columns": [(name, label) for name, (label, _) in COLUMNS.items() if name != "share" or _sees_shares(request)],
        "shown": SimpleLazyObject(lambda: _report(form.span, wish, today)),
        "key": memory.key(request, today),
    }
    return page(request, "routeapp/earnings/earnings.html", context, "report")


def _report(span: rules.Span, wish: str, today: date) -> dict[str, Any]:
    report = queries_report.report(span, today)
    return {
        "report": report,
        "tables": [
            ("location", "By location", in_order(report.locations, wish)),
            ("cabinet", "By cabinet", in_order(report.cabinets, wish)),
        ],
        "weeks": queries_report.week_bars(report.weeks, span, today),
        "payouts": queries_report.payout_levels(report.cabinets),
    }


@allow(*EVERYONE)
def earnings_takes(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate(clock.now())
    form = TakesForm(request.GET, today=today)
    context = {
        "form": form,
        "names": rules.NAMED,
        "when": rules.in_words(form.span, today),
        "shown": SimpleLazyObject(lambda: _takes(form, request.GET.get("page"), _sees_shares(request))),
        "key": memory.key(request, today),
    }
    return page(request, "routeapp/earnings/takes.html", context, "report")


def _takes(form: TakesForm, number: str | None, sees_shares: bool) -> dict[str, Any]:
    book, only = queries.book(form.span), form.only()
    lines = queries.lines_of(book, only)
    shown = Paginator(lines[::-1], LINES_A_PAGE).get_page(number)
    shares = queries.shares_of(book, only) if sees_shares and "person" not in only else []
    return {
        "total": rules_figures.add_up(lines),
        "shares": shares,
        "share_total": sum(one.part for one in shares),
        "lines": queries.listed(book, shown),
        "page": shown,
    }


@allow(*EVERYONE)
def earnings_csv(request: HttpRequest) -> StreamingHttpResponse:
    today = timezone.localdate(clock.now())
    form = TakesForm(request.GET, today=today)
    days = f"{form.span.since} to {form.span.until}"
    if request.GET.get("table") == "take":
        book = queries.book(form.span)
        listed = queries.listed(book, queries.lines_of(book, form.only()))
        return sheets.download(queries_sheets.takes(listed), f"takes {days}")
    report = queries_report.report(form.span, today)
    by_cabinet = request.GET.get("table") == "cabinet"
    noun, rows = ("cabinet", report.cabinets) if by_cabinet else ("location", report.locations)
    rows = in_order(rows, order_in(request.GET))
    return sheets.download(queries_sheets.table(rows, report.total, noun, _sees_shares(request)), f"{noun}s {days}")
