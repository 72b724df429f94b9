"""Reads about visits: what stands in them, what each service entry earned, and what must be asked about."""

from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from operator import itemgetter
from typing import Any
from uuid import UUID

from django.db.models import DateTimeField, F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from machines.cabinets import queries_meters
from machines.cabinets.models import Counts, Machine
from machines.cabinets.queries_meters import MeterInterval
from routeapp.cards import queries_plays as cards
from routeapp.cash import queries as cash
from routeapp.stock import queries as stock
from routeapp.stock.models import StockMove
from routeapp.visits import rules
from routeapp.visits.models import CashTaken, ServiceEntry, Visit


def visits() -> QuerySet:
    """Visits with what a list shows of them."""
    return Visit.objects.select_related("location", "by", "made_by").prefetch_related("entries__machine")


def corrected_by(visit: Visit) -> Visit | None:
    """The visit that replaces or withdraws this one, if there is one."""
    return Visit.objects.filter(replaces=visit.pk).select_related("by").first()


@dataclass(frozen=True)
class EntryFigures:
    """What one service entry shows. Amounts in minor units; None where it cannot be told (yet)."""

    entry: ServiceEntry
    plays: int | None
    expected: int | None
    take: int | None
    variance: int | None
    reckoned: bool  # the box was emptied and the meter read: a variance is or will be known
    prizes_won: int
    prize_cost: int
    metered: int  # of the prizes won, those of which the meter alone tells
    meter_says: int | None  # were won since it was read before; None while nobody can tell
    questions: tuple[str, ...]
    by_card: int | None = 0  # what of the plays was paid by card; None while no statement tells

    @property
    def payout(self) -> float | None:
        return rules.payout(self.plays or 0, self.prizes_won)


def _floor(machine: str, since: Any) -> Coalesce:
    """When the second collection before `since` was, by the cabinet in the column `machine`: variances start there."""
    emptied = ServiceEntry.objects.filter(machine=OuterRef(machine), at__lt=since, withdrawn_at=None)
    emptied = emptied.exclude(cash=CashTaken.NOT_TAKEN).order_by("-at").values("at")
    return Coalesce(Subquery(emptied[1:2]), Subquery(emptied[:1]), since, output_field=DateTimeField())


def _meters_floor(since: Any) -> Coalesce:
    return _floor("machine", since)


def entries_of(machine_ids: Iterable[int], since: datetime, until: datetime) -> QuerySet:
    """Live service entries between two moments, with the two collections before them that variances start from."""
    wanted = (
        Machine.objects.filter(pk__in=machine_ids)
        .annotate(floor=_floor("pk", since))
        .filter(entries__at__gte=F("floor"), entries__at__lt=until, entries__withdrawn_at=None)
        .values("entries__pk")
    )
    return (
        ServiceEntry.objects.filter(pk__in=wanted)
        .select_related("visit__location", "visit__made_by", "machine__model", "bag")
        .defer("visit__document")
        .order_by("machine", "at", "uuid")
    )


def figures(machine_ids: Iterable[int], since: datetime, until: datetime) -> list[EntryFigures]:
    """What every live service entry of these cabinets between two moments shows, oldest first, in constant queries."""
    machine_ids = list(machine_ids)
    entries = list(entries_of(machine_ids, since, until))
    if not entries:
        return []
    ids = [entry.pk for entry in entries]
    by_source = intervals_by_source(machine_ids, since, until)
    takes = cash.take_by_entry(ids)
    won = {key[0]: won for key, won in stock.won(StockMove.objects.filter(source__in=ids), "source")}
    variances = variances_of(reckonings(entries, by_source, takes))
    shown = [
        _figures(entry, by_source.get(entry.pk, []), takes, won, variances) for entry in entries if entry.at >= since
    ]
    return sorted(shown, key=lambda one: (one.entry.at, str(one.entry.pk)))


def intervals_by_source(
    machine_ids: list[int], since: datetime, until: datetime
) -> dict[UUID | None, list[MeterInterval]]:
    """Intervals that end between two moments, and before them as far as variances reach, by the document behind."""
    by_source: dict[UUID | None, list[MeterInterval]] = defaultdict(list)
    for one in with_cards(machine_ids, queries_meters.intervals(machine_ids, since, until, reach=_meters_floor)):
        by_source[one.source].append(one)
    return by_source


def with_cards(machines: list[int], intervals: Iterable[MeterInterval]) -> list[MeterInterval]:
    """Intervals of these cabinets with what of their money was paid by card: the box does not hold that."""
    found = list(intervals)
    stretches = [(one.meter.machine_id, one.interval.start.at, one.interval.end.at) for one in found]
    return [
        replace(one, by_card=cents) if cents != 0 else one
        for one, cents in zip(found, cards.by_card(machines, stretches), strict=True)
    ]


def telling(intervals: list[MeterInterval], counts: str) -> MeterInterval | None:
    return next((one for one in intervals if one.meter.counts == counts), None)


def expected_cents(intervals: list[MeterInterval]) -> tuple[bool, int | None]:
    """(whether a meter tells the money, how much cash it says): money in where there is such a meter, else plays."""
    meter = tells_money(intervals)
    return meter is not None, meter.cash_cents if meter else None


def tells_money(intervals: list[MeterInterval]) -> MeterInterval | None:
    return telling(intervals, Counts.MONEY_IN) or telling(intervals, Counts.PLAYS)


def plays(intervals: list[MeterInterval]) -> int | None:
    """Plays in one stretch: from the plays meter, or from the money at the price of a play."""
    if by_plays := telling(intervals, Counts.PLAYS):
        return by_plays.interval.counts
    by_money = telling(intervals, Counts.MONEY_IN)
    return None if by_money is None or by_money.cents is None else by_money.cents // by_money.meter.machine.price_cents


def outside_visits(
    by_source: dict[UUID | None, list[MeterInterval]], entries: Collection[UUID]
) -> dict[tuple[int, datetime], list[MeterInterval]]:
    """Stretches that no service entry ended (a price change, a new meter, the end of a stay), by cabinet and end."""
    found: dict[tuple[int, datetime], list[MeterInterval]] = defaultdict(list)
    for source, each in by_source.items():
        for one in each if source not in entries else ():
            found[one.meter.machine_id, one.interval.end.at].append(one)
    return found


def reckonings(
    entries: Sequence[Any], by_source: dict[UUID | None, list[MeterInterval]], takes: dict[UUID, int]
) -> dict[int, rules.Reckoning]:
    """The money of each cabinet, stop by stop, by machine id. `entries` (or rows with their pk, machine_id, at and
    cash) are in order of time for each cabinet.

    A meter read outside visits tells of money that the next collection must bring.
    """
    stops: dict[int, list[tuple[datetime, rules.Stop]]] = defaultdict(list)
    for entry in entries:
        read, expected = expected_cents(by_source.get(entry.pk, []))
        uncounted = None if entry.cash == CashTaken.SEALED else 0
        emptied, taken = entry.cash != CashTaken.NOT_TAKEN, takes.get(entry.pk, uncounted)
        stops[entry.machine_id].append((entry.at, rules.Stop(entry.pk, read, expected, emptied, taken)))
    with_money = {one.meter.machine_id for each in by_source.values() if (one := telling(each, Counts.MONEY_IN))}
    for (machine, at), each in outside_visits(by_source, {entry.pk for entry in entries}).items():
        meter = telling(each, Counts.MONEY_IN if machine in with_money else Counts.PLAYS)
        if meter and machine in stops and at > stops[machine][0][0]:
            stops[machine].append((at, rules.Stop((machine, at), True, meter.cash_cents, False, 0)))
    return {
        machine: rules.reckon(stop for _, stop in sorted(each, key=itemgetter(0))) for machine, each in stops.items()
    }


def variances_of(reckonings: dict[int, rules.Reckoning]) -> dict[Hashable, int | None]:
    """Over or short by service entry, for those where the box was emptied and the meter read."""
    return {key: value for each in reckonings.values() for key, value in each.variances.items()}


def carried(machine_ids: Iterable[int], at: datetime) -> dict[int, rules.Reckoning]:
    """What each cabinet carries on at a moment: expected and taken since its money was last balanced."""
    machine_ids = list(machine_ids)
    entries = list(entries_of(machine_ids, at, at))
    if not entries:
        return {}
    by_source = intervals_by_source(machine_ids, at, at)
    return reckonings(entries, by_source, cash.take_by_entry(entry.pk for entry in entries))


def _figures(
    entry: ServiceEntry, intervals: list[MeterInterval], takes: dict, won: dict, variances: dict
) -> EntryFigures:
    prizes, out = won.get(entry.pk, stock.Won()), telling(intervals, Counts.PRIZES_OUT)
    meter = tells_money(intervals)
    uncounted = entry.cash == CashTaken.SEALED and entry.pk not in takes
    return EntryFigures(
        entry=entry,
        plays=plays(intervals),
        expected=expected_cents(intervals)[1],
        take=None if uncounted else takes.get(entry.pk, 0),
        variance=variances.get(entry.pk),
        reckoned=entry.pk in variances,
        prizes_won=prizes.pieces,
        prize_cost=prizes.cost,
        metered=prizes.metered,
        meter_says=out.interval.counts if out else None,
        questions=tuple(one.interval.question for one in intervals if one.interval.question),
        by_card=meter.by_card if meter else 0,
    )


def history(machine: Machine, until: datetime, length: int = 20) -> list[EntryFigures]:
    """The newest service entries of one cabinet with their figures, newest first."""
    recent = ServiceEntry.objects.filter(machine=machine, withdrawn_at=None, at__lt=until).order_by("-at")
    oldest = list(recent.values_list("at", flat=True)[:length])
    return figures([machine.pk], oldest[-1], until)[::-1] if oldest else []
