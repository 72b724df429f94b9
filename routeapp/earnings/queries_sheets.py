"""The tables of the earnings pages as plain rows for a file. Amounts in the currency's own units."""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

from routeapp.earnings.queries import Listed
from routeapp.earnings.queries_report import Row
from routeapp.earnings.rules_figures import Figures
from routeapp.kit import money

HEAD = (
    *("visits", "take", "cash not counted yet", "plays", "stretches left out", "prizes won", "plays per prize"),
    *("cost of prizes won", "prize cost share", "over (+) or short (-)", "collections not known yet"),
)


def amount(cents: int | None) -> Decimal | None:
    unit = money.currency(money.active())
    return None if cents is None else Decimal(cents).scaleb(-unit.digits)


def table(rows: Iterable[Row], total: Row | None, noun: str, with_share: bool) -> Iterator[list[Any]]:
    """One row for each location or cabinet, and the sum of them; the host's share only `with_share`."""
    yield [noun, *HEAD, *(["host's share"] if with_share else [])]
    for row in (*rows, *([total] if total else [])):
        yield [row.name, *_figures(row.figures), *([amount(row.share)] if with_share else [])]


def _figures(figures: Figures) -> list[Any]:
    return [
        figures.visits,
        amount(figures.take),
        figures.uncounted,
        figures.plays,
        figures.left_out,
        figures.prizes,
        figures.payout and round(figures.payout, 2),
        amount(figures.prize_cost),
        figures.cost_share and round(figures.cost_share, 4),
        amount(figures.over_short) if figures.known else None,
        figures.not_known,
    ]


TAKES_HEAD = (
    *("day", "moment", "location", "cabinet", "person", "take", "of that by card", "expected", "over (+) or short (-)"),
    *("plays", "prizes won", "cost of prizes won", "visit"),
)


def takes(lines: Iterable[Listed]) -> Iterator[list[Any]]:
    """One row for each service entry, and for what was read or counted outside visits."""
    yield list(TAKES_HEAD)
    for one in lines:
        line = one.line
        yield [
            line.day.isoformat(),
            line.at.isoformat(),
            one.location.name,
            one.machine.code,
            one.person,
            None if line.uncounted else amount(line.take),
            amount(line.by_card),
            amount(line.expected),
            amount(line.variance),
            line.plays,
            line.prizes,
            amount(line.prize_cost),
            line.visit,
        ]
