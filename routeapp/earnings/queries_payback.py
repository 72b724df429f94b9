"""Whether each cabinet has paid for itself, how long that takes yet, and what return it brings."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Min

from locations.placements.models import Placement
from machines.cabinets.models import GONE, Machine
from machines.depreciation.queries import costs
from routeapp.cash.models import CashMove
from routeapp.earnings.queries_profit import Profit
from routeapp.earnings.rules import FIRST_DAY, Span
from routeapp.earnings.rules_keep import Lack
from routeapp.earnings.rules_profit import Amount, Part
from routeapp.earnings.rules_return import Ahead, Rate, paid_back_after, rate_of_return, weeks_left, yearly
from routeapp.kit.clock import month_start


@dataclass(frozen=True)
class Payback:
    """One cabinet against its cost. `months` is what it earned before depreciation, from its first month to the one
    that runs; whole months alone tell the pace."""

    machine: Machine
    cost: int | None
    months: tuple[tuple[date, int], ...]
    today: date
    lacks: Lack | None

    @property
    def earned(self) -> int:
        return sum(cents for _, cents in self.months)

    @property
    def missing(self) -> int:
        return max(0, (self.cost or 0) - self.earned)

    @property
    def percent(self) -> float | None:
        return 100 * self.earned / self.cost if self.cost else None

    @property
    def is_paid_back(self) -> bool:
        return self.cost is not None and self.missing == 0

    @property
    def paid_back_in(self) -> date | None:
        """The month in which it had earned its cost."""
        after = None if self.cost is None else paid_back_after(self.cost, [cents for _, cents in self.months])
        return self.months[after - 1][0] if after else None

    @property
    def ahead(self) -> Ahead | None:
        """None while there are too few months, and where nothing is to come any more."""
        if self.cost is None or not self.missing or self.machine.status in GONE:
            return None
        whole = [cents for month, cents in self.months[1:] if month < month_start(self.today)]
        return weeks_left(self.missing, whole)

    @property
    def rate(self) -> Rate | None:
        """A year, of what was paid for it and what it earned so far; nothing is counted for what it is worth today.
        None too while so few months passed that it could only be far below nothing."""
        is_early = self.missing and self.ahead is None and self.machine.status not in GONE
        if not self.cost or not self.months or is_early:
            return None
        found = rate_of_return([-self.cost, *(cents for _, cents in self.months)])
        return found if found.rate is None else Rate(yearly(found.rate))


def lifetime(today: date) -> Span:
    """From the first placement or the first money on."""
    first = Placement.objects.aggregate(first=Min("started_at"))["first"]
    money = CashMove.objects.aggregate(first=Min("day"))["first"]
    days = [day for day in (first.date() - timedelta(days=1) if first else None, money) if day]
    return Span(max(FIRST_DAY, min([*days, today])), today)


def paybacks(today: date, zone: str) -> list[Payback]:
    """Of every cabinet that a cost or an amount is known of. It reads all history, in sums by day."""
    profit, known = Profit(lifetime(today), zone), costs()
    months = _months(profit.amounts)
    return [
        _payback(one, known.get(key), months.get(key, {}), today, profit.lacks(key))
        for key, one in profit.machines.items()
        if key in known or key in months
    ]


def payback_of(machine: Machine, today: date, zone: str) -> tuple[Payback, list[Amount]]:
    """Of one cabinet, with all the amounts of its life."""
    profit = Profit(lifetime(today), zone, _where(machine))
    amounts = [one for one in profit.amounts if one.machine == machine.pk]
    months = _months(amounts).get(machine.pk, {})
    cost = costs([machine.pk]).get(machine.pk)
    return _payback(machine, cost, months, today, profit.lacks(machine.pk)), amounts


def _payback(
    machine: Machine, cost: int | None, months: Mapping[date, int], today: date, lacks: Lack | None
) -> Payback:
    return Payback(machine, cost, _without_gaps(months, today), today, lacks)


def _where(machine: Machine) -> set[int]:
    """The locations at which a cabinet ever stood, or brought money."""
    stood = Placement.objects.filter(machine=machine).values_list("location", flat=True)
    brought = CashMove.objects.filter(machine=machine, location__isnull=False).order_by()
    return {*stood, *brought.values_list("location", flat=True).distinct()}


def _months(amounts: Iterable[Amount]) -> dict[int, dict[date, int]]:
    found: dict[int, dict[date, int]] = defaultdict(lambda: defaultdict(int))
    for one in amounts:
        if one.machine is not None and one.part != Part.DEPRECIATION:
            found[one.machine][month_start(one.day)] += one.cents
    return found


def _without_gaps(months: Mapping[date, int], today: date) -> tuple[tuple[date, int], ...]:
    found, month = [], min(months, default=today)
    while months and month <= today:
        found.append((month, months.get(month, 0)))
        month = month_start(month + timedelta(days=31))
    return tuple(found)
