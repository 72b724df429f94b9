"""Reads about visits: what stands in them, what each service entry earned, and what must be asked about."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from machines.cabinets import queries_meters
from machines.cabinets.models import Counts, Machine, Reading
from machines.cabinets.queries_meters import MeterInterval
from routeapp.cash import queries as cash
from routeapp.stock import queries as stock
from routeapp.stock.models import StockMove
from routeapp.visits import rules
from routeapp.visits.models import CashTaken, ServiceEntry, Visit


def visits() -> QuerySet:
    """Visits with what a list shows of them."""
    return Visit.objects.select_related("location", "by").prefetch_related("entries__machine")


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
    prizes_won: int
    prize_cost: int
    questions: tuple[str, ...]

    @property
    def payout(self) -> float | None:
        return rules.payout(self.plays or 0, self.prizes_won)


def entries_of(machine_ids: Iterable[int], since: datetime, until: datetime) -> QuerySet:
    """Live service entries between two moments, with the two collections before them that variances start from."""
    emptied = ServiceEntry.objects.filter(machine=OuterRef("pk"), at__lt=since, withdrawn_at=None)
    emptied = emptied.exclude(cash=CashTaken.NOT_TAKEN).order_by("-at").values("at")
    floor = Coalesce(Subquery(emptied[1:2]), Subquery(emptied[:1]), since)
    wanted = (
        Machine.objects.filter(pk__in=machine_ids)
        .annotate(floor=floor)
        .filter(entries__at__gte=F("floor"), entries__at__lt=until, entries__withdrawn_at=None)
        .values("entries__pk")
    )
    return (
        ServiceEntry.objects.filter(pk__in=wanted)
        .select_related("visit__location", "visit__by", "machine__model", "bag")
        .order_by("machine", "at", "uuid")
    )


def figures(machine_ids: Iterable[int], since: datetime, until: datetime) -> list[EntryFigures]:
    """What every live service entry of these cabinets between two moments shows, oldest first, in constant queries."""
    machine_ids = list(machine_ids)
    entries = list(entries_of(machine_ids, since, until))
    if not entries:
        return []
    ids = [entry.pk for entry in entries]
    start = min(since, min(entry.at for entry in entries))
    by_source = _intervals_by_source(machine_ids, start, until)
    takes = cash.take_by_entry(ids)
    won = {
        key[0]: (pieces, cost) for key, pieces, cost in stock.won(StockMove.objects.filter(source__in=ids), "source")
    }
    variances = _variances(entries, by_source, takes)
    shown = [
        _figures(entry, by_source.get(entry.pk, []), takes, won, variances) for entry in entries if entry.at >= since
    ]
    return sorted(shown, key=lambda one: (one.entry.at, str(one.entry.pk)))


def _intervals_by_source(
    machine_ids: list[int], since: datetime, until: datetime
) -> dict[UUID | None, list[MeterInterval]]:
    found = queries_meters.intervals(machine_ids, since, until)
    sources = dict(Reading.objects.filter(pk__in=[one.interval.end.key for one in found]).values_list("pk", "source"))
    by_source: dict[UUID | None, list[MeterInterval]] = defaultdict(list)
    for one in found:
        by_source[sources[one.interval.end.key]].append(one)
    return by_source


def telling(intervals: list[MeterInterval], counts: str) -> MeterInterval | None:
    return next((one for one in intervals if one.meter.counts == counts), None)


def expected_cents(intervals: list[MeterInterval]) -> tuple[bool, int | None]:
    """(whether a meter tells the money, how much it says): money in where there is such a meter, else plays."""
    meter = telling(intervals, Counts.MONEY_IN) or telling(intervals, Counts.PLAYS)
    return meter is not None, meter.cents if meter else None


def plays(intervals: list[MeterInterval]) -> int | None:
    """Plays in one stretch: from the plays meter, or from the money at the price of a play."""
    if by_plays := telling(intervals, Counts.PLAYS):
        return by_plays.interval.counts
    by_money = telling(intervals, Counts.MONEY_IN)
    return None if by_money is None or by_money.cents is None else by_money.cents // by_money.meter.machine.price_cents


def _variances(
    entries: list[ServiceEntry], by_source: dict[UUID | None, list[MeterInterval]], takes: dict[UUID, int]
) -> dict:
    stops: dict[int, list[rules.Stop]] = defaultdict(list)
    for entry in entries:
        read, expected = expected_cents(by_source.get(entry.pk, []))
        stops[entry.machine_id].append(
            rules.Stop(
                key=entry.pk,
                read=read,
                expected=expected,
                emptied=entry.cash != CashTaken.NOT_TAKEN,
                taken=takes.get(entry.pk, None if entry.cash == CashTaken.SEALED else 0),
            )
        )
    return {key: value for each in stops.values() for key, value in rules.variances(each).items()}


def _figures(
    entry: ServiceEntry, intervals: list[MeterInterval], takes: dict, won: dict, variances: dict
) -> EntryFigures:
    prizes, cost = won.get(entry.pk, (0, 0))
    uncounted = entry.cash == CashTaken.SEALED and entry.pk not in takes
    return EntryFigures(
        entry=entry,
        plays=plays(intervals),
        expected=expected_cents(intervals)[1],
        take=None if uncounted else takes.get(entry.pk, 0),
        variance=variances.get(entry.pk),
        prizes_won=prizes,
        prize_cost=cost,
        questions=tuple(one.interval.question for one in intervals if one.interval.question),
    )


def history(machine: Machine, until: datetime, length: int = 20) -> list[EntryFigures]:
    """The newest service entries of one cabinet with their figures, newest first."""
    recent = ServiceEntry.objects.filter(machine=machine, withdrawn_at=None, at__lt=until).order_by("-at")
    oldest = list(recent.values_list("at", flat=True)[:length])
    return figures([machine.pk], oldest[-1], until)[::-1] if oldest else []
