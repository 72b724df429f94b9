"""The evening's page, the service entries behind each of its figures, and both as files."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.utils import timezone

from routeapp.earnings import queries, queries_report, queries_sheets, rules, rules_figures
from routeapp.earnings.forms import SpanForm, TakesForm, order_in
from routeapp.earnings.queries_report import COLUMNS, in_order
from routeapp.kit import clock, sheets
from routeapp.kit.access import EVERYONE, allow
from routeapp.kit.htmx import page

LINES_A_PAGE = 100


@allow(*EVERYONE)
def earnings(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate(clock.now())
    form, wish = SpanForm(request.GET, today=today), order_in(request.GET)
    report = queries_report.report(form.span, today)
    tables = {
        "location": ("By location", in_order(report.locations, wish)),
        "cabinet": ("By cabinet", in_order(report.cabinets, wish)),
    }
    context = {
        "form": form,
        "report": report,
        "tables": tables,
        "columns": [(name, label) for name, (label, _) in COLUMNS.items()],
        "wish": wish,
        "names": rules.NAMED,
        "weeks": queries_report.week_bars(report.weeks, form.span, today),
        "payouts": queries_report.payout_levels(report.cabinets),
    }
    return page(request, "routeapp/earnings/earnings.html", context, "report")


@allow(*EVERYONE)
def earnings_takes(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate(clock.now())
    form = TakesForm(request.GET, today=today)
    book, only = queries.book(form.span), form.only()
    lines = queries.lines_of(book, only)
    shown = Paginator(lines[::-1], LINES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "when": rules.in_words(form.span, today),
        "names": rules.NAMED,
        "total": rules_figures.add_up(lines),
        "shares": [] if "person" in only else queries.shares_of(book, only),
        "lines": queries.listed(book, shown),
        "page": shown,
    }
    return page(request, "routeapp/earnings/takes.html", context, "report")


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
    return sheets.download(queries_sheets.table(rows, report.total, noun), f"{noun}s {days}")
