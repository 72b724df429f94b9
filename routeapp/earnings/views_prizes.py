"""Which prize earns its keep: all of them, one by cabinet, and the stops behind it."""

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import SimpleLazyObject

from machines.faults.queries import newest_fault
from routeapp.earnings import rules
from routeapp.earnings.forms import PrizesForm
from routeapp.earnings.queries_prize_lines import (
    DEAD_WEEKS,
    CabinetLine,
    PrizeLine,
    cabinet_lines,
    left_a_day,
    pictured,
    prize_lines,
    prize_stops,
    with_and_without,
)
from routeapp.earnings.queries_prizes import Prizes
from routeapp.earnings.rules_prizes import added
from routeapp.kit import clock, memory
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, allow, may
from routeapp.kit.htmx import page
from routeapp.kit.tables import Column, Table
from routeapp.stock.models import Prize


def _asked(request: HttpRequest) -> tuple[PrizesForm, Prizes, dict[str, Any]]:
    """The days asked for, what they held, and what each of these pages says of them and is kept by."""
    now, zone = clock.now(), request.business.time_zone
    today = clock.local_day(now, zone)
    form, stamps = PrizesForm(request.GET, today=today), (today, newest_fault())  # reports say when it could be played
    context = {
        "form": form,
        "names": rules.NAMED,
        "when": rules.in_words(form.span, today),
        "weeks": DEAD_WEEKS,
        "stamps": stamps,
        "key": memory.key(request, *stamps),
    }
    return form, Prizes(form.span, zone, now), context


def _lines(found: Prizes, stamps: tuple[Any, ...]) -> tuple[list[PrizeLine], int]:
    """The lines of all prizes and the take that none shares: typing into the filter works nothing out anew."""
    named = "prize-lines", found.span.since, found.span.until, *stamps
    return memory.kept(lambda: (prize_lines(found), found.not_shared), *named)


def _answer(request: HttpRequest, template: str, context: dict[str, Any], table: Table, rows: Any) -> HttpResponse:
    """The page, kept in memory with what `rows` tells of it; or its table as a file."""
    if request.GET.get("as") == "csv":
        return table.answer(request, "", rows()["rows"])

    def shown() -> dict[str, Any]:
        told = rows()
        return {**told, "table": table.shown(request.GET, told["rows"])}

    part = "rows" if request.htmx.target == "rows" else "report"
    return page(request, template, {**context, "shown": SimpleLazyObject(shown)}, part)


def _sees_what_is_left(request: HttpRequest) -> bool:
    """What is left after costs is for those who may also see the profit."""
    return may(request.user, OWNER, BOOKKEEPER)


def _came(opens: Callable[[Any], str]) -> tuple[Column, ...]:
    """What a prize came to, each figure opening the stops behind it."""
    return (
        Column("won", "Won", "came.won", "count", link=opens, adds_up=True),
        Column("cost", "Cost", "came.cost", "cash", link=opens, adds_up=True),
        Column("take", "Take", "came.take", "cash", link=opens, adds_up=True),
        Column("share", "Cost of take", "came.share", "percent", link=opens),
        Column("days", "Days inside", "came.days", "count", link=opens, adds_up=True),
    )


def prizes_table(days: str, sees: bool) -> Table:
    def to(name: str) -> Callable[[PrizeLine], str]:
        return lambda line: f"{reverse(name, args=[line.prize.pk])}?{days}"

    def moves(line: PrizeLine) -> str:
        return f"{reverse('stock-moves')}?prize={line.prize.pk}"

    left = (
        Column("left", "Leaves", "came.left", "cash", link=to("prize-takes"), adds_up=True),
        Column("left-piece", "Leaves a piece", "came.left_a_piece", "cash", link=to("prize-takes")),
        Column("left-day", "Leaves a day", "came.left_a_day", "cash", link=to("prize-takes")),
    )
    return Table(
        "prizes",
        (
            Column("prize", "Prize", "prize.name", link=to("prize-earnings")),
            Column(
                "draws",
                "With it inside",
                "verdict.words",
                "state",
                order=lambda line: line.verdict.more if line.verdict.stands_out else None,
                link=to("prize-earnings"),
                shape=lambda line: line.verdict.state,
            ),
            Column(
                "remark",
                "Remark",
                lambda line: f"none won for {DEAD_WEEKS} weeks" if line.is_dead else "",
                "state",
                shape=lambda line: "warn",
            ),
            *_came(to("prize-takes")),
            *(left if sees else ()),
            Column("pieces", "Pieces now", "pieces", "count", link=moves, adds_up=True),
            Column("worth", "Worth now", "worth", "cash", link=moves, adds_up=True),
        ),
        hint="Prize or remark",
        rows_a_page=200,
    )


@allow(*EVERYONE)
def earnings_prizes(request: HttpRequest) -> HttpResponse:
    form, found, context = _asked(request)

    def told() -> dict[str, Any]:
        lines, not_shared = _lines(found, context["stamps"])
        known = sorted((line for line in lines if line.verdict.stands_out), key=lambda line: -line.verdict.low)
        return {
            "rows": lines,
            "more": [line for line in known if line.verdict.low > 0],
            "less": [line for line in known if line.verdict.low < 0],
            "compared": sum(line.verdict.more is not None for line in lines),
            "dead": [line for line in lines if line.is_dead],
            "dead_worth": sum(line.worth for line in lines if line.is_dead),
            "not_shared": not_shared,
        }

    table = prizes_table(form.days(), _sees_what_is_left(request))
    return _answer(request, "routeapp/earnings/prizes.html", context, table, told)


def cabinets_table(prize: Prize, days: str, sees: bool) -> Table:
    def opens(line: CabinetLine) -> str:
        return f"{reverse('prize-takes', args=[prize.pk])}?{days}&cabinet={line.machine.code}"

    left = (
        Column("left-with", "A day leaves with it", "with_it.left", "cash", link=opens),
        Column("left-without", "Leaves without it", "without.left", "cash", link=opens),
    )
    return Table(
        f"cabinets with {prize.name}",
        (
            Column("cabinet", "Cabinet", "machine.code", link=opens),
            Column("location", "Location", "location"),
            Column("with", "Plays a day with it", "with_it.plays", "count", link=opens),
            Column("without", "Plays without it", "without.plays", "count", link=opens),
            *(left if sees else ()),
            *_came(opens),
        ),
        hint="Cabinet or location",
    )


@allow(*EVERYONE)
def prize_earnings(request: HttpRequest, pk: int) -> HttpResponse:
    prize = get_object_or_404(Prize, pk=pk)
    form, found, context = _asked(request)

    def told() -> dict[str, Any]:
        lines, (every, _) = cabinet_lines(found, pk), _lines(found, context["stamps"])
        both = with_and_without(lines)
        return {
            "rows": lines,
            "line": next((one for one in every if one.prize == prize), None),
            "came": added(one.came for one in lines),
            "levels": pictured(both),
            "left_a_day": left_a_day(both),
        }

    table = cabinets_table(prize, form.days(), _sees_what_is_left(request))
    return _answer(request, "routeapp/earnings/prize.html", {**context, "prize": prize}, table, told)


STOPS = Table(
    "stops with a prize",
    (
        Column(
            "when",
            "When",
            "stop.at",
            "moment",
            zone="location.time_zone",
            link=lambda one: reverse("visit", args=[one.stop.visit]) if one.stop.visit else "",
        ),
        Column("cabinet", "Cabinet", "machine.code", link=lambda one: reverse("cabinet", args=[one.machine.code])),
        Column("location", "Location", "location.name"),
        Column("inside", "Until then", "state", "state", shape=lambda one: "good" if one.inside else "none"),
        Column("days", "Days", "days", "count"),
        Column("plays", "Plays a day", "plays_a_day", "count"),
        Column("won", "Won", "came.won", "count", adds_up=True),
        Column("cost", "Cost", "came.cost", "cash", adds_up=True),
        Column("all", "Take", "stop.take", "cash", adds_up=True),
        Column("take", "Its part", "came.take", "cash", adds_up=True),
    ),
    hint="Cabinet or location",
)


@allow(*EVERYONE)
def prize_takes(request: HttpRequest, pk: int) -> HttpResponse:
    prize = get_object_or_404(Prize, pk=pk)
    form, found, context = _asked(request)
    cabinet = form.cleaned_data.get("cabinet")

    def told() -> dict[str, Any]:
        stops = prize_stops(found, pk, cabinet.pk if cabinet else None)
        return {"rows": stops, "came": added(one.came for one in stops)}

    return _answer(
        request, "routeapp/earnings/prize_takes.html", {**context, "prize": prize, "cabinet": cabinet}, STOPS, told
    )
