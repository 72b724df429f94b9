"""The evening's page, the service entries behind each of its figures, and both as files."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from routeapp.earnings import queries, queries_report, queries_shares, queries_sheets, rules, rules_figures
from routeapp.earnings.forms import SpanForm, TakesForm, order_in
from routeapp.earnings.queries import Listed
from routeapp.earnings.queries_report import COLUMNS, in_order, matching
from routeapp.kit import clock, memory, sheets
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, allow, may
from routeapp.kit.htmx import page
from routeapp.kit.tables import Column, Table


def _sees_shares(request: HttpRequest) -> bool:
    """What hosts get is for those who may also read the agreements."""
    return may(request.user, OWNER, BOOKKEEPER)


@allow(*EVERYONE)
def earnings(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate(clock.now())
    form, wish, text = SpanForm(request.GET, today=today), order_in(request.GET), request.GET.get("q", "")
    context = {
        "form": form,
        "names": rules.NAMED,
        "wish": wish,
        "text": text,
        "columns": [(name, label) for name, (label, _) in COLUMNS.items() if name != "share" or _sees_shares(request)],
        "shown": SimpleLazyObject(lambda: _report(form.span, wish, text, today)),
        "key": memory.key(request, today),
    }
    return page(request, "routeapp/earnings/earnings.html", context, "report")


def _report(span: rules.Span, wish: str, text: str, today: date) -> dict[str, Any]:
    report = queries_report.report(span, today)
    return {
        "report": report,
        "tables": [
            ("location", "By location", in_order(matching(report.locations, text), wish)),
            ("cabinet", "By cabinet", in_order(matching(report.cabinets, text), wish)),
        ],
        "weeks": queries_report.week_bars(report.weeks, span, today),
        "payouts": queries_report.payout_levels(report.cabinets),
    }


def _to_visit(one: Listed) -> str:
    return reverse("visit", args=[one.line.visit]) if one.line.visit else ""


def _to_cabinet(one: Listed) -> str:
    return reverse("cabinet", args=[one.machine.code])


def _outside(line: rules_figures.Line) -> str:
    return "paid by card" if line.by_card else "noted outside visits"


TAKES = Table(
    "takes",
    (
        Column("when", "When", "line.at", "moment", zone="location.time_zone", link=_to_visit),
        Column("who", "Who", lambda one: one.person if one.line.visit else _outside(one.line)),
        Column("cabinet", "Cabinet", "machine.code", link=_to_cabinet),
        Column("location", "Location", "location.name"),
        Column("take", "Take", lambda one: None if one.line.uncounted else one.line.take, "cash", adds_up=True),
        Column("by_card", "By card", lambda one: one.line.by_card or None, "cash", adds_up=True),
        Column("expected", "Expected", "line.expected", "cash"),
        Column("cash", "Over or short", lambda one: one.line.variance if one.line.reckoned else None, "over_short"),
        Column(
            "plays",
            "Plays",
            lambda one: one.line.plays if one.line.tells_plays else None,
            "count",
            adds_up=True,
        ),
        Column("prizes", "Prizes won", "line.prizes", "count", adds_up=True),
        Column(
            "remark",
            "Remark",
            lambda one: ", ".join(_remarks(one.line)),
            "state",
            order=False,
            shape=lambda one: "warn",
        ),
    ),
    hint="Cabinet, location or person",
)


def _remarks(line: rules_figures.Line) -> list[str]:
    return [words for words, holds in (("not counted yet", line.uncounted), ("in question", line.left_out)) if holds]


@allow(*EVERYONE)
def earnings_takes(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate(clock.now())
    form = TakesForm(request.GET, today=today)
    context = {
        "form": form,
        "names": rules.NAMED,
        "when": rules.in_words(form.span, today),
        "shown": SimpleLazyObject(lambda: _takes(form, request.GET, _sees_shares(request))),
        "key": memory.key(request, today),
    }
    if request.GET.get("as") == "csv":
        return _takes_file(form, TAKES.shown(request.GET, _newest(form)).found)
    part = "rows" if request.htmx.target == "rows" else "report"
    return page(request, "routeapp/earnings/takes.html", context, part)


def _newest(form: TakesForm) -> list[Listed]:
    book = queries.book(form.span)
    return queries.listed(book, queries.lines_of(book, form.only())[::-1])


def _takes_file(form: TakesForm, listed: Iterable[Listed]) -> StreamingHttpResponse:
    return sheets.download(queries_sheets.takes(listed), f"takes {form.span.since} to {form.span.until}")


def _takes(form: TakesForm, address: Any, sees_shares: bool) -> dict[str, Any]:
    book, only = queries.book(form.span), form.only()
    lines = queries.lines_of(book, only)
    shares = queries_shares.shares_of(book, only) if sees_shares and "person" not in only else []
    return {
        "total": rules_figures.add_up(lines),
        "shares": shares,
        "share_total": sum(one.part for one in shares),
        "table": TAKES.shown(address, queries.listed(book, lines[::-1])),
    }


@allow(*EVERYONE)
def earnings_csv(request: HttpRequest) -> StreamingHttpResponse:
    today = timezone.localdate(clock.now())
    form = TakesForm(request.GET, today=today)
    days = f"{form.span.since} to {form.span.until}"
    report = queries_report.report(form.span, today)
    by_cabinet = request.GET.get("table") == "cabinet"
    noun, rows = ("cabinet", report.cabinets) if by_cabinet else ("location", report.locations)
    text = request.GET.get("q", "")
    rows, total = in_order(matching(rows, text), order_in(request.GET)), None if text else report.total
    return sheets.download(queries_sheets.table(rows, total, noun, _sees_shares(request)), f"{noun}s {days}")
