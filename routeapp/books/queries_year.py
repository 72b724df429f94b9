"""What an accountant asks for at the end of a year: paid to hosts, tax by jurisdiction, prizes in stock."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Case, F, Q, Sum, When
from django.utils import timezone

from locations.hosts.models import Host
from routeapp.books.queries_worked import tax_lines_of
from routeapp.books.rules import months
from routeapp.cash.models import CashMove, Purse
from routeapp.kit import clock
from routeapp.kit.money import half_up
from routeapp.stock.models import Prize
from routeapp.stock.queries import pieces_at, unit_costs

PAYS = (Purse.BAG, Purse.BANK, Purse.OWNER, Purse.BOX)  # a refund that a host made is no payment to it


@dataclass(frozen=True)
class Paid:
    """What one host was paid in a year, in minor units. `reported` is None where no threshold is known."""

    host: Host
    cents: int
    reported: bool | None


def paid_to_hosts(year: int, threshold: int | None) -> list[Paid]:
    """Every host that was paid, by the days of the payments, the most first."""
    days = CashMove.objects.filter(day__gte=date(year, 1, 1), day__lte=date(year, 12, 31))
    paid = days.filter(Q(from_purse__in=PAYS, to_purse=Purse.HOST) | Q(from_purse=Purse.HOST, to_purse__in=PAYS))
    signed = Case(When(to_purse=Purse.HOST, then=F("cents")), default=-F("cents"))
    sums = dict(paid.order_by().values_list("location__host").annotate(all=Sum(signed)))
    hosts = Host.objects.in_bulk(list(sums))
    rows = [Paid(hosts[pk], cents, None if threshold is None else cents >= threshold) for pk, cents in sums.items()]
    return sorted(rows, key=lambda one: (-one.cents, one.host.name))


@dataclass(frozen=True)
class Taxed:
    """Take under the rules of one jurisdiction: with tax, without it, and the tax inside."""

    jurisdiction: str
    gross: int
    net: int
    tax: int
    sources: tuple[str, ...]


def by_jurisdiction(year: int) -> list[Taxed]:
    groups: dict[str, list[Any]] = defaultdict(list)
    for month in months(date(year, 1, 1), date(year, 12, 31)):
        for line in tax_lines_of(month):
            groups[line.rule.jurisdiction].append(line)
    return [_taxed(name, lines) for name, lines in sorted(groups.items())]


def _taxed(name: str, lines: Iterable[Any]) -> Taxed:
    lines = list(lines)
    gross, net, tax = (sum(getattr(line, part) for line in lines) for part in ("gross", "net", "tax"))
    return Taxed(name, gross, net, tax, tuple(sorted({line.source for line in lines})))


@dataclass(frozen=True)
class InStock:
    """Pieces of a prize that lay somewhere at a moment, and what they stand for in the books."""

    prize: Prize
    pieces: int
    cents: int


def in_stock(year: int) -> list[InStock]:
    """At the end of a year, at the moving average of what they cost."""
    end = clock.start_of_day(date(year + 1, 1, 1), timezone.get_current_timezone_name())
    held, pools = pieces_at(end), unit_costs(end)
    prizes = Prize.objects.in_bulk([pk for pk, pieces in held.items() if pieces])
    rows = [InStock(one, held[pk], half_up(pools[pk].unit_cost() * held[pk])) for pk, one in prizes.items()]
    return sorted(rows, key=lambda one: (-one.cents, one.prize.name))
