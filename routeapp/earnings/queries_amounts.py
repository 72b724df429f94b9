"""The sources of the statement: each turns facts of one kind into amounts."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db.models import Max, Q, QuerySet, Sum

from locations.agreements.rules_periods import Stretch
from locations.agreements.rules_terms import Earned, total
from locations.sites.models import Location
from locations.taxes.rules import TaxBook, tax_lines
from machines.cabinets.models import Machine
from machines.depreciation.queries import sold_for
from machines.depreciation.rules import Spread, between
from machines.parts.queries import used
from routeapp.cash.models import CashMove, Purse
from routeapp.earnings.queries_shares import Key, as_days, visits_in
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_profit import Amount, Part, Stays, over_stays
from routeapp.earnings.rules_shares import Day, Deals, share_lines
from routeapp.expenses.models import Expense
from routeapp.expenses.rules import Category
from routeapp.kit import clock
from routeapp.kit.money import half_up, split
from routeapp.planning.models_rounds import Driver
from routeapp.stock.queries import lost_by_document, won_by_document
from routeapp.visits.models import ServiceEntry


@dataclass(frozen=True)
class Entry:
    """Where and on which day a cabinet was serviced."""

    machine: int
    location: int
    day: date
    visit: UUID


def entries(only: Collection[int] | None, since: datetime, until: datetime) -> dict[UUID, Entry]:
    """Live service entries between two moments by their ids."""
    rows = ServiceEntry.objects.filter(at__gte=since, at__lt=until, withdrawn_at=None).order_by()
    if only is not None:
        rows = rows.filter(visit__location__in=only)
    wanted = ("pk", "machine", "visit__location", "at", "visit__location__time_zone", "visit")
    return {
        pk: Entry(machine, location, clock.local_day(at, zone), visit)
        for pk, machine, location, at, zone, visit in rows.values_list(*wanted)
    }


def by_visit(known: Mapping[UUID, Entry]) -> dict[UUID, list[int]]:
    """The cabinets serviced by visit."""
    found: dict[UUID, list[int]] = defaultdict(list)
    for entry in known.values():
        found[entry.visit].append(entry.machine)
    return found


PURSES = (Purse.PLAYERS, Purse.OVER_SHORT, Purse.FEES, Purse.REFUNDS, Purse.COSTS)


def moves(span: Span, only: Collection[int] | None) -> Iterator[Amount]:
    """Money in and out, by cabinet, location, day and reason; but for receipts of what trips are reckoned with."""
    ends = Q(from_purse__in=PURSES) | Q(to_purse__in=PURSES)
    rows = CashMove.objects.filter(ends, day__gte=span.since, day__lte=span.until).order_by()
    rows = rows.exclude(source__in=_within_trips())
    if only is not None:
        rows = rows.filter(Q(location__in=only) | Q(location=None))
    keys = ("machine", "location", "day", "from_purse", "to_purse", "reason")
    for machine, location, day, source, target, reason, cents in rows.values_list(*keys).annotate(all=Sum("cents")):
        yield from _as_amounts(Amount("", machine, location, day, cents, reason), source, target)


def _within_trips() -> QuerySet:
    """The ids of receipts for what a driver's kilometre or hour has in it already, or had on earlier days: with both it
    would count twice."""
    costs = {
        Category.VEHICLE: ("vehicle__cents_per_km", "past_costs__cents_per_km"),
        Category.WAGES: ("cents_per_hour", "past_costs__cents_per_hour"),
    }
    dearest = Driver.objects.aggregate(**{name: Max(name) for each in costs.values() for name in each})
    reckoned = [category for category, each in costs.items() if any(dearest[name] for name in each)]
    return Expense.objects.filter(category__in=reckoned).order_by().values("uuid")


def _as_amounts(move: Amount, source: str, target: str) -> Iterator[Amount]:
    """What a move earns or costs: it costs on its way to fees, refunds and goods, and is given back on its way out."""
    if Purse.PLAYERS in (source, target):
        part = Part.CARDS if Purse.CARDS in (source, target) else Part.CASH
        cents = move.cents if source == Purse.PLAYERS else -move.cents
        yield replace(move, part=part, cents=cents, to=("earnings-takes", ""))
    for purse, part in COSTING.items():
        if purse in (source, target):
            yield replace(move, part=part, cents=move.cents if source == purse else -move.cents, to=("cash-moves", ""))


COSTING = {
    Purse.OVER_SHORT: Part.OVER_SHORT,
    Purse.FEES: Part.FEES,
    Purse.REFUNDS: Part.REFUNDS,
    Purse.COSTS: Part.EXPENSES,
}


def prizes(
    cabinets: list[int], known: Mapping[UUID, Entry], since: datetime, until: datetime, zone: str
) -> Iterator[Amount]:
    """What the prizes that players won cost, by the visit that told of them, or where they were told of otherwise."""
    for (source, machine, at), won in won_by_document(cabinets, since, until).items():
        entry, what = known.get(source) if source else None, f"{won.pieces} prize{'' if won.pieces == 1 else 's'} won"
        what += f", {won.metered} by the meter" if won.metered else ""
        if entry:
            yield Amount(Part.PRIZES, machine, entry.location, entry.day, -won.cost, what, ("visit", str(entry.visit)))
        else:
            yield Amount(Part.PRIZES, machine, None, clock.local_day(at, zone), -won.cost, what, ("stock", ""))


def lost(known: Mapping[UUID, Entry], since: datetime, until: datetime, zone: str) -> Iterator[Amount]:
    """What prizes cost that a count found missing, less those found again; at no location where a store counted."""
    for (source, machine, at), gone in lost_by_document(since, until).items():
        entry, many = known.get(source) if source else None, abs(gone.pieces)
        what = f"{many} prize{'' if many == 1 else 's'} {'missing' if gone.pieces > 0 else 'found again'}"
        if entry:
            yield Amount(Part.LOST, machine, entry.location, entry.day, -gone.cost, what, ("visit", str(entry.visit)))
        else:
            yield Amount(Part.LOST, machine, None, clock.local_day(at, zone), -gone.cost, what, ("stock", ""))


def parts(since: datetime, until: datetime, zone: str) -> Iterator[Amount]:
    """Parts put into cabinets, at the average of what came until then; those without a known cost have no amount."""
    for move in used(since, until).exclude(bought=None).select_related("part"):
        cents = half_up(Fraction(move.pieces * move.paid, move.bought))
        day = clock.local_day(move.at, zone)
        yield Amount(Part.PARTS, move.machine_id, None, day, -cents, str(move), ("part", str(move.part_id)))


def days_of(
    amounts: Iterable[Amount], known: Mapping[UUID, Entry], span: Span, locations: Mapping[int, Location]
) -> list[Day]:
    """What terms and tax are worked out from: what each cabinet brought on each day, and the visits."""
    earned: dict[Key, list[Earned]] = defaultdict(list)
    visits = visits_in(span, locations)
    for one in amounts:
        if one.location is not None and one.part in EARNED:
            name, sign = EARNED[one.part]
            earned[one.location, one.machine, one.day].append(Earned(**{name: sign * one.cents}))
    for entry in known.values():
        if span.since <= entry.day <= span.until:
            visits[entry.location, entry.machine, entry.day].add(entry.visit)
    return as_days({key: total(each) for key, each in earned.items()}, visits)


EARNED: dict[str, tuple[str, int]] = {
    Part.CASH: ("take", 1),
    Part.CARDS: ("take", 1),
    Part.FEES: ("card_fees", -1),
    Part.REFUNDS: ("refunds", -1),
    Part.PRIZES: ("prize_cost", -1),
}


def taxes(days: Sequence[Day], book: TaxBook, month: Span) -> Iterator[Amount]:
    """The tax inside the take: rounded once for each rule, and handed out by take."""
    by_rule: dict[Any, dict[tuple[int, int | None], int]] = defaultdict(lambda: defaultdict(int))
    for one in days:
        if rule := book.rule(one.location, one.machine, one.day):
            by_rule[rule][one.location, one.machine] += one.earned.take
    for rule, takes in by_rule.items():
        for line in tax_lines((rule, take) for take in takes.values()):
            cents = split(line.tax, [max(0, take) for take in takes.values()])
            for (location, machine), part in zip(takes, cents, strict=True):
                if part:
                    yield Amount(Part.TAX, machine, location, month.until, -part, line.words, ("tax-rules", ""))


def shares(
    days: Sequence[Day], deals: Deals, book: TaxBook, month: Span, standing: Mapping[int, Iterable[int]]
) -> Iterator[Amount]:
    """What hosts get of a month by their terms, handed out to the cabinets that earned it."""
    for line in share_lines(days, deals, book, Stretch(month.since, month.until), standing):
        what = ", ".join(one.words for one in line.lines)
        for machine, cents in line.by_machine.items():
            if cents:
                location = line.deal.location
                yield Amount(
                    Part.SHARE, machine, location, line.stretch.until, -cents, what, ("agreements", str(location))
                )


def sold(span: Span, zone: str, machines: Mapping[int, Machine]) -> Iterator[Amount]:
    """What cabinets were sold for."""
    for machine, (day, cents) in sold_for(span.since, span.until, zone).items():
        yield Amount(Part.SOLD, machine, None, day, cents, "sold", ("cabinet", machines[machine].code))


def depreciation(
    spreads: Mapping[int, Spread], months: Iterable[Span], stays: Stays, machines: Mapping[int, Machine]
) -> Iterator[Amount]:
    """What each month takes of the cost of each cabinet, over the locations where it stood, by the days; what was left
    of it when it went belongs to none."""
    for month in months:
        for machine, spread in spreads.items():
            cents = between(spread.running, month.since, month.until)
            to = ("cabinet-depreciation", machines[machine].code)
            whole = Amount(Part.DEPRECIATION, machine, None, month.until, -cents, str(spread.choice.words), to)
            yield from over_stays(whole, _in_service(spread, month), stays.get(machine, ()))
            for left in spread.written_off:
                if month.since <= left.first <= month.until:
                    yield replace(whole, day=left.first, cents=-left.cents, what="what was left of its cost")


def _in_service(spread: Spread, month: Span) -> Span:
    """The days of a month that bear what it takes: from the first day in service to the day it went."""
    years = spread.running
    return Span(max(month.since, years[0].first), min(month.until, years[-1].last)) if years else month
