"""Expenses by category, the mileage log, refunds, and players who told of lost money and wait for an answer."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Sum

from machines.faults.models import About, Fault
from machines.faults.queries import open_faults
from routeapp.cash.models import Bag, Holder
from routeapp.cash.queries import bags
from routeapp.expenses import rules
from routeapp.expenses.models import Expense, MileageRate, Refund, Trip
from routeapp.expenses.rules import Category, Rate
from routeapp.kit import money


def every_expense() -> QuerySet:
    """Expenses with all that their page tells, those that were withdrawn too."""
    return Expense.objects.select_related("machine", "location", "bag", "by", "withdrawn_by", "replaces", "replaced_by")


def expenses(since: date, until: date) -> QuerySet:
    live = Expense.objects.live().filter(day__gte=since, day__lte=until)
    return live.select_related("machine", "location", "bag", "by")


def by_category(since: date, until: date) -> list[tuple[str, int]]:
    """(category in words, minor units), the dearest first."""
    rows = expenses(since, until).order_by().values_list("category").annotate(cents=Sum("cents"))
    return [(Category(category).label, cents) for category, cents in sorted(rows, key=lambda row: -row[1])]


def spendable_bags() -> QuerySet:
    """Bags with money in them that are not at the bank, the last filled first."""
    return bags().exclude(holder=Holder.BANK).filter(holds__gt=0).order_by("-at", "-pk")


def bag_with_money(bag: Bag) -> Any:
    return bags().get(pk=bag.pk)


def rates() -> QuerySet:
    """What a mile or kilometre is worth by what the business wrote down itself."""
    return MileageRate.objects.live().select_related("by")


def own_rates() -> list[Rate]:
    """The same as rules reckon with it."""
    return [one.rate for one in MileageRate.objects.live()]


@dataclass(frozen=True)
class Logged:
    """A trip with its rate and what it comes to; None on a day without a rate."""

    trip: Trip
    rate: Rate | None

    @property
    def pk(self) -> int:
        return self.trip.pk

    @property
    def cents(self) -> int | None:
        return rules.worth(self.trip.tenths, self.trip.unit, self.rate) if self.rate else None

    @property
    def distance(self) -> str:
        return f"{self.trip.tenths / 10:,.1f} {self.trip.unit}"


def log(since: date, until: date, driver: Any = None) -> list[Logged]:
    """The mileage log of some days, the latest trip first."""
    trips = Trip.objects.live().filter(day__gte=since, day__lte=until).select_related("driver", "by")
    trips = trips.filter(driver=driver) if driver else trips
    own, currency = own_rates(), money.active()
    return [Logged(trip, rules.rate_on(trip.day, own, currency)) for trip in trips]


def distances(logged: Iterable[Logged]) -> list[str]:
    """How far all of it was, by unit: “120.5 mi”."""
    found: dict[str, int] = {}
    for one in logged:
        found[one.trip.unit] = found.get(one.trip.unit, 0) + one.trip.tenths
    return [f"{tenths / 10:,.1f} {unit}" for unit, tenths in sorted(found.items())]


def driven(driver_ids: Iterable[int], since: date) -> set[tuple[int, date]]:
    """On which days people wrote down a trip: (person, day)."""
    rows = Trip.objects.live().filter(driver__in=list(driver_ids), day__gte=since)
    return set(rows.order_by().values_list("driver", "day"))


def refunds() -> QuerySet:
    return Refund.objects.live().select_related("machine", "location", "bag", "by").order_by("-at", "-pk")


def undecided() -> QuerySet:
    """Open reports of lost money that nobody refunded or refused, the oldest first."""
    decided = Refund.objects.live().filter(report=OuterRef("uuid"))
    return open_faults().filter(~Exists(decided), about=About.LOST_MONEY).order_by("at", "pk")


def decision_on(fault: Fault) -> Refund | None:
    return Refund.objects.live().filter(report=fault.uuid).select_related("by").first()
