"""The evening's page: tables by location and by cabinet that add up, pictures, and what is unusual."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from machines.cabinets.queries import settings_of
from routeapp.earnings import queries, queries_take, rules
from routeapp.earnings import rules_figures as sums
from routeapp.earnings.queries import names_of
from routeapp.earnings.queries_shares import Shares
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_figures import Figures, Line
from routeapp.earnings.rules_remarks import Remark, Subject, remarks
from routeapp.earnings.rules_shares import shares_by
from routeapp.kit import charts, clock, money

WEEKS_BEFORE = 12
MOST_PAYOUTS = 12  # in the picture; the table has them all


@dataclass(frozen=True)
class Row:
    """One location or cabinet; addresses name it by `ref`. `share` is the host's, None where nothing was agreed."""

    key: int
    ref: str
    name: str
    figures: Figures
    share: int | None
    target: int | None = None  # plays per prize
    about: str = ""


COLUMNS: dict[str, tuple[str, Callable[[Row], Any]]] = {
    "name": ("Name", lambda row: row.name),
    "take": ("Take", lambda row: row.figures.take),
    "plays": ("Plays", lambda row: row.figures.plays),
    "payout": ("Payout", lambda row: row.figures.payout),
    "prizes": ("Prize cost", lambda row: row.figures.cost_share),
    "cash": ("Over or short", lambda row: row.figures.over_short if row.figures.known else None),
    "share": ("Host's share", lambda row: row.share),
}
FIRST_ORDER = "-take"


def in_order(rows: Iterable[Row], wish: str) -> list[Row]:
    """Rows by the column named in `wish`, downwards with a minus before it; rows without the figure come last."""
    name, down = wish.removeprefix("-"), wish.startswith("-")
    figure = COLUMNS[name][1]
    named = sorted(rows, key=lambda row: row.name)
    known = [row for row in named if figure(row) is not None]
    return sorted(known, key=figure, reverse=down) + [row for row in named if figure(row) is None]


def matching(rows: Iterable[Row], text: str) -> list[Row]:
    """The rows that have every word of `text` in their name or what is said about them."""
    words = text.casefold().split()
    return [row for row in rows if all(word in f"{row.name} {row.about}".casefold() for word in words)]


@dataclass(frozen=True)
class Report:
    span: Span
    when: str
    comparison: str
    total: Row
    locations: list[Row]
    cabinets: list[Row]
    remarks: list[Remark]
    without_agreement: list[tuple[str, int]]  # (location, take)
    weeks: list[tuple[Span, int]]


def report(span: Span, today: date) -> Report:
    """All that the earnings page shows of a span of days."""
    book, before = queries.book(span), rules.before(span)
    shares = Shares(book)
    then, when_before = queries_take.take_by("location", before.since, before.until), rules.in_words(before, today)
    locations, cabinets = _locations(book, shares), _cabinets(book, shares)
    total = Row(0, "", "All together", sums.add_up(book.lines), sum(line.share for line in shares.lines))
    unusual = remarks(
        [_subject("cabinet", row, book.machines[row.key].price_cents) for row in cabinets],
        [_subject("location", row, take_before=then.get(row.key)) for row in locations],
        _people(book.lines),
        when_before,
    )
    unagreed = [(book.locations[key].name, cents) for key, cents in shares.without_deal().items()]
    return Report(
        span=span,
        when=rules.in_words(span, today),
        comparison=rules.comparison(total.figures.take, sum(then.values()), when_before),
        total=total,
        locations=locations,
        cabinets=cabinets,
        remarks=unusual,
        without_agreement=unagreed,
        weeks=_weeks(span),
    )


def _locations(book: queries.Book, shares: Shares) -> list[Row]:
    groups, agreed = sums.grouped(book.lines, "location"), shares_by(shares.lines, "location")
    standing = {stay.location for each in book.stays.values() for stay in each}
    return [
        Row(
            key=key,
            ref=str(key),
            name=book.locations[key].name,
            figures=sums.add_up(groups.get(key, [])),
            share=agreed.get(key, 0 if shares.deals.get(key) else None),
        )
        for key in standing | groups.keys()
    ]


def _cabinets(book: queries.Book, shares: Shares) -> list[Row]:
    groups, agreed = sums.grouped(book.lines, "machine"), shares_by(shares.lines, "machine")
    shown = book.stays.keys() | groups.keys()
    settings = settings_of(book.machines[key] for key in shown)
    return [
        Row(
            key=key,
            ref=book.machines[key].code,
            name=book.machines[key].code,
            figures=sums.add_up(groups.get(key, [])),
            share=agreed.get(key),
            target=settings[key].payout_target,
            about=book.machines[key].model.name,
        )
        for key in shown
    ]


def _subject(kind: str, row: Row, price: int = 0, take_before: int | None = None) -> Subject:
    return Subject(kind, row.key, row.name, row.figures, price, row.target, take_before)


def _people(lines: Iterable[Line]) -> list[Subject]:
    groups = sums.grouped([line for line in lines if line.person is not None], "person")
    names = names_of(groups)
    return [Subject("person", key, names[key], sums.add_up(groups[key])) for key in groups]


def _weeks(span: Span) -> list[tuple[Span, int]]:
    """Take of each week that the span touches, and of the twelve before it."""
    first = clock.week_start(span.since) - timedelta(weeks=WEEKS_BEFORE)
    return queries_take.take_of_weeks(first, (clock.week_start(span.until) - first).days // 7 + 1)


def week_bars(weeks: list[tuple[Span, int]], chosen: Span | None, today: date) -> charts.Bars:
    """Take by week as bars; the weeks that the chosen days touch are marked, and a few are named below."""
    marked = [chosen is not None and week.until >= chosen.since and week.since <= chosen.until for week, _ in weeks]
    named = {0, len(weeks) - 1, marked.index(True) if any(marked) else 0}
    named -= {number for number in named if 0 < len(weeks) - 1 - number < len(weeks) / 4}
    values = [
        charts.Value(
            amount=cents,
            words=f"{rules.in_words(week, today)}: {money.as_text(cents)}",
            label=f"{week.since.day} {week.since:%b}" if number in named else "",
            marked=marked[number],
        )
        for number, (week, cents) in enumerate(weeks)
    ]
    return charts.bars(values)


def payout_levels(rows: Iterable[Row]) -> charts.Levels:
    """Payout beside its target for the cabinets furthest from it."""
    known = [(row, row.figures.payout, row.target) for row in rows if row.figures.payout and row.target]
    furthest = sorted(known, key=lambda one: -max(one[1] / one[2], one[2] / one[1]))[:MOST_PAYOUTS]
    return charts.levels(
        [
            charts.Aim(row.name, f"{row.figures.payout_words}, aims at 1 in {target}", payout, target)
            for row, payout, target in furthest
        ]
    )
