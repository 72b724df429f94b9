"""What each cabinet cost, how that is spread over years, and what one year takes of it."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F, QuerySet

from machines.cabinets.models import GONE, Machine, Status, StatusChange
from machines.cabinets.queries import NEWEST_FIRST
from machines.depreciation.models import DepreciationChoice
from machines.depreciation.rules import Choice, QuarterTest, Spread, Year, quarter_tests, spreads
from routeapp.kit import money
from routeapp.kit.clock import local_day


def choices_of(machine_ids: Collection[int] | None = None) -> QuerySet:
    """What holds now, with `cost`: as written down, or as the order came to."""
    live = DepreciationChoice.objects.live().annotate(bought=F("machine__bought__cost_cents"))
    return live if machine_ids is None else live.filter(machine__in=machine_ids)


def choice_of(machine: Machine) -> DepreciationChoice | None:
    return choices_of([machine.pk]).select_related("by").first()


def costs(machine_ids: Collection[int] | None = None) -> dict[int, int]:
    """What each cabinet cost by its id, where that is known: as written down, else the landed cost of its order."""
    typed = choices_of(machine_ids).exclude(cost_cents=None).order_by().values_list("machine", "cost_cents")
    return landed_costs(machine_ids) | dict(typed)


def landed_costs(machine_ids: Collection[int] | None = None) -> dict[int, int]:
    """What the orders of cabinets came to."""
    machines = Machine.objects.order_by() if machine_ids is None else Machine.objects.filter(pk__in=machine_ids)
    return dict(machines.exclude(bought__cost_cents=None).values_list("pk", "bought__cost_cents"))


def gone_on(zone: str) -> dict[int, date]:
    """The day on which each cabinet that is gone was sold or scrapped, by its id."""
    steps = StatusChange.objects.live().filter(status__in=GONE, machine__status__in=GONE)
    rows = steps.order_by(*NEWEST_FIRST).values_list("machine", "at")
    return {machine: local_day(at, zone) for machine, at in reversed(rows)}


def sold_for(since: date, until: date, zone: str) -> dict[int, tuple[date, int]]:
    """The day on which each cabinet was sold in these days, and for how much, by its id; those with a price alone."""
    steps = StatusChange.objects.live().filter(machine__status=Status.SOLD).order_by(*NEWEST_FIRST)
    newest: dict[int, tuple[date, int]] = {}
    for machine, at, cents in reversed(steps.filter(status=Status.SOLD).values_list("machine", "at", "sold_cents")):
        newest[machine] = local_day(at, zone), cents or 0
    return {machine: sold for machine, sold in newest.items() if sold[1] and since <= sold[0] <= until}


def first_in_service(machine: Machine, zone: str) -> date | None:
    """The day it was first ready or placed, by its life; None while it never was."""
    steps = StatusChange.objects.live().filter(machine=machine, status__in=(Status.READY, Status.PLACED))
    at = steps.order_by("at").values_list("at", flat=True).first()
    return local_day(at, zone) if at else None


def spreads_of(zone: str) -> dict[int, Spread]:
    """How the cost of each cabinet with a choice and a known cost is spread, by its id, in constant queries."""
    gone, found = gone_on(zone), {}
    for one in choices_of().order_by("machine"):
        cost = one.bought if one.cost_cents is None else one.cost_cents
        if cost is not None:
            found[one.machine_id] = Choice(
                cost=cost,
                in_service=one.in_service_on,
                sold_on=gone.get(one.machine_id),
                method=one.method,
                life_years=one.life_years,
                worth_after=one.worth_after_cents,
                class_years=one.class_years,
                convention=one.convention,
                section_179=one.section_179_cents,
                bonus_bp=one.bonus_bp,
            )
    return spreads(found, money.currency(money.active()).one)


@dataclass(frozen=True)
class Share:
    """One cabinet in one year; `spread` is None where nothing was decided or no cost is known."""

    machine: Machine
    cost: int | None
    spread: Spread | None
    year: int

    def of(self, years: Iterable[Year]) -> int:
        return sum(one.cents for one in years if one.year == self.year)

    @property
    def tabled(self) -> int | None:
        return self.of(self.spread.tabled) if self.spread and self.spread.table else None

    @property
    def chosen(self) -> int | None:
        return self.of(self.spread.chosen) if self.spread else None

    @property
    def before(self) -> int | None:
        return self._taken(self.year - 1)

    @property
    def left(self) -> int | None:
        return self.spread.choice.cost - (self._taken(self.year) or 0) if self.spread else None

    def _taken(self, until: int) -> int | None:
        return sum(one.cents for one in self.spread.chosen if one.year <= until) if self.spread else None


def shares(year: int, zone: str) -> tuple[list[Share], QuarterTest | None]:
    """Every cabinet that had a share in a year or has nothing decided, by code, and the 40 % test of that year."""
    found, costs_known = spreads_of(zone), costs()
    machines = Machine.objects.select_related("model").order_by("code")
    each = [Share(one, costs_known.get(one.pk), found.get(one.pk), year) for one in machines]
    test = quarter_tests(one.choice for one in found.values()).get(year)
    return [one for one in each if _concerns(one)], test


def _concerns(share: Share) -> bool:
    """Whether a year's list speaks of it: what is gone with nothing decided is let be, and so are other years."""
    if share.spread is None:
        return share.machine.status not in GONE
    first, gone = share.spread.choice.in_service.year, share.spread.choice.sold_on
    return first <= share.year and (gone is None or share.year <= gone.year)
