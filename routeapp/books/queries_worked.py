"""Amounts that are worked out from facts rather than written down, by month: prizes at cost, cabinets, depreciation,
tax inside.

What they come to can change later, when a late fact changes a moving average or a rule is put right. The figures of a
closed month stay as they were when it was closed; the difference is booked in the first month that is open.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Min, Q, Sum
from django.utils import timezone

from locations.taxes.models import LocationTax
from locations.taxes.queries import rules_for
from locations.taxes.rules import TaxLine, tax_lines
from machines.depreciation.queries import landed_costs, sold_for, spreads_of
from machines.depreciation.rules import between
from machines.purchases.models import OrderCost, Payment, Receipt
from routeapp.books import rules_accounts as names
from routeapp.books.models import MonthClose
from routeapp.books.rules import month_after, months
from routeapp.books.rules_accounts import Chart
from routeapp.cash.models import CashMove
from routeapp.cash.queries import TAKE, take
from routeapp.stock import queries as stock
from routeapp.stock.models import PlaceKind, StockMove

Sums = Counter[tuple[str, str]]  # minor units by (debit, credit)


def worked_out(month: date, chart: Chart) -> Sums:
    """What a month's facts come to, as they are known now."""
    start, end = (_moment(day) for day in (month, month_after(month)))
    found: Sums = Counter()
    for part in (_prizes(start, end), _cabinets(start, end), _taxes(month, chart), _depreciation(month)):
        found.update(part)  # and not “+”, which would drop what is below zero
    return found


def _moment(day: date) -> datetime:
    return datetime.combine(day, datetime.min.time(), ZoneInfo(timezone.get_current_timezone_name()))


def _prizes(start: datetime, end: datetime) -> Sums:
    # Rounded as the earnings round it: once per document, cabinet and moment.
    moves, keys = stock.moved(start, end), ("source", "cabinet", "at")
    won = sum(each.cost for _, each in stock.won(moves, *keys))
    lost = sum(each.cost for _, each in stock.won(moves, *keys, to=PlaceKind.SHRINKAGE))
    bought = Q(from_place__kind=PlaceKind.SUPPLIER), Q(to_place__kind=PlaceKind.SUPPLIER)
    sums = moves.aggregate(came=Sum("cost_cents", filter=bought[0]), back=Sum("cost_cents", filter=bought[1]))
    return _kept(
        {
            (names.PRIZES_WON, names.PRIZES): won,
            (names.PRIZES_LOST, names.PRIZES): lost,
            (names.PRIZES, names.PAID_ELSEWHERE): (sums["came"] or 0) - (sums["back"] or 0),
        }
    )


def _cabinets(start: datetime, end: datetime) -> Sums:
    """What an order cost up to the door, in the month in which it came; what was paid for it, when it was paid."""
    came = Receipt.objects.live().filter(at__gte=start, at__lt=end).values("order")
    cost = OrderCost.objects.live().filter(order__in=came).aggregate(all=Sum("cents"))["all"]
    paid = Payment.objects.live().filter(at__gte=start, at__lt=end).aggregate(all=Sum("cents"))["all"]
    return _kept(
        {
            (names.CABINETS, names.SUPPLIERS): cost or 0,
            (names.SUPPLIERS, names.PAID_ELSEWHERE): paid or 0,
        }
    )


def _taxes(month: date, chart: Chart) -> Sums:
    found: Sums = Counter()
    for line in tax_lines_of(month):
        found[chart.tax(line.rule.jurisdiction)] += line.tax
    return _kept(found)


def tax_lines_of(month: date) -> list[TaxLine]:
    """Tax inside the take of a month, rounded once per location and rule."""
    taxed = list(LocationTax.objects.live().order_by().values_list("location", flat=True).distinct())
    if not taxed:
        return []
    book, amounts = rules_for(taxed), defaultdict(list)
    moves = take(CashMove.objects.filter(location__in=taxed, day__gte=month, day__lt=month_after(month))).order_by()
    for location, machine, day, cents in moves.values_list("location", "machine", "day").annotate(cents=TAKE):
        amounts[location].append((book.rule(location, machine, day), cents))
    return [line for each in amounts.values() for line in tax_lines(each)]


def _depreciation(month: date) -> Sums:
    """What the month takes of the cost of cabinets, by the method that was chosen for each, and what it was if no order
    says so; those that went leave the books, and what they were sold for comes in."""
    last, zone = month_after(month) - timedelta(days=1), timezone.get_current_timezone_name()
    spreads, landed = spreads_of(zone), landed_costs()
    began = {key: one.choice for key, one in spreads.items() if month <= one.choice.in_service <= last}
    gone = [one.choice for one in spreads.values() if one.choice.sold_on and month <= one.choice.sold_on <= last]
    return _kept(
        {
            (names.DEPRECIATION, names.DEPRECIATED): sum(between(one.chosen, month, last) for one in spreads.values()),
            (names.CABINETS, names.BEFORE): sum(one.cost - landed.get(key, 0) for key, one in began.items()),
            (names.DEPRECIATED, names.CABINETS): sum(one.cost for one in gone),
            (names.PAID_ELSEWHERE, names.SOLD): sum(cents for _, cents in sold_for(month, last, zone).values()),
        }
    )


def _kept(sums: Mapping[tuple[str, str], int]) -> Sums:
    return Counter({ends: cents for ends, cents in sums.items() if cents})


def first_month() -> date | None:
    """The month of the oldest fact that holds. What a phone without a clock told of the year 2000 begins no books once
    it is put right."""
    day = CashMove.objects.standing().order_by("day").values_list("day", flat=True).first()
    facts = (StockMove.objects.standing(), Receipt.objects.live(), Payment.objects.live())
    moved = [found.aggregate(first=Min("at"))["first"] for found in facts]
    days = [one for one in (day, *(timezone.localtime(at).date() for at in moved if at)) if one]
    return min(days).replace(day=1) if days else None


def closed_figures() -> dict[date, Sums]:
    """What was booked in each closed month, as it stood when it was closed."""
    rows = MonthClose.objects.live().order_by("month").values_list("month", "figures")
    return {month: Counter({_ends(key): cents for key, cents in said.items()}) for month, said in rows}


def _ends(key: str) -> tuple[str, str]:
    debit, _, credit = key.partition("|")
    return debit, credit


def as_figures(sums: Sums) -> dict[str, int]:
    """To be kept with a closed month."""
    return {f"{debit}|{credit}": cents for (debit, credit), cents in sorted(sums.items())}


def by_month(last: date, chart: Chart) -> dict[date, Sums]:
    """What is booked in every month up to that of `last`: closed ones as they were closed, what changed in them since
    in the first month that is open."""
    first, closed = first_month(), closed_figures()
    known = [*closed, *([first] if first else [])]
    if not known:
        return {}
    found: dict[date, Sums] = {}
    since: Sums = Counter()
    for month in months(min(known), max([last, *closed])):
        now = worked_out(month, chart)
        if closed and month <= max(closed):
            found[month] = closed.get(month, Counter())
            since.update(now)
            since.subtract(found[month])
        else:
            found[month] = now
            found[month].update(since)
            since = Counter()
    if +since or -since:  # the newest month is closed too: what changed waits for the next one
        found[month_after(max(found))] = since
    return found
