"""Reads about meters: the last reading of each, and the intervals of any stretch of time."""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any
from uuid import UUID

from django.db.models import DateTimeField, ExpressionWrapper, F, OuterRef, QuerySet, Subquery, Value
from django.db.models.expressions import Combinable
from django.db.models.functions import Coalesce

from machines.cabinets import rules
from machines.cabinets.models import Counts, Machine, Meter, Reading, ReadingKind
from machines.cabinets.rules import Explanation, Interval, Shown
from routeapp.kit.prepared import Prepared


def meters_in_use(machine_ids: Iterable[int], before: datetime | None = None) -> QuerySet:
    """The meters a person at the cabinet can read, each with its last live reading (`last_value`, `last_at`), the last
    one `before` a moment if there is one."""
    last = Reading.objects.live().filter(meter=OuterRef("pk")).order_by("-at", "kind", "-pk")
    if before:
        last = last.filter(at__lt=before)
    return (
        Meter.objects.filter(machine__in=machine_ids, removed_at=None)
        .select_related("machine")
        .annotate(
            last_value=Subquery(last.values("value")[:1]),
            last_at=Subquery(last.values("at")[:1]),
            last_tests=Subquery(last.values("tests_after")[:1]),
        )
        .order_by("machine__code", "counts")
    )


def readings_of(machine: Machine) -> QuerySet:
    """Every reading of a cabinet's meters, those it had before too, the newest first; withdrawn ones stay readable."""
    readings = Reading.objects.filter(meter__machine=machine).select_related("meter", "by")
    return readings.order_by("-at", "meter__counts", "-pk")


@dataclass(frozen=True)
class MeterInterval:
    """One interval with the meter it was read from, and the document that brought the reading at its end."""

    meter: Meter
    interval: Interval
    source: UUID | None = None
    by_card: int | None = 0  # what of the money was paid by card, in minor units, where somebody knows

    @property
    def cents(self) -> int | None:
        """What the counts are worth, in whole minor units."""
        return None if self.interval.counts is None else self.interval.counts * self.meter.value_cents

    @property
    def cash_cents(self) -> int | None:
        """What of that should have gone into the cash box; None also while nobody knows what was paid by card."""
        return None if self.cents is None or self.by_card is None else self.cents - self.by_card


def shown(reading: Reading) -> Shown:
    return Shown(
        key=reading.pk,
        at=reading.at,
        value=reading.value,
        baseline=reading.kind == ReadingKind.BASELINE,
        tests_before=reading.tests_before,
        tests_after=reading.tests_after,
        explained_as=reading.explained_as,
    )


SHOWN = ("meter", "pk", "at", "value", "kind", "tests_before", "tests_after", "explained_as")
IN_ORDER = ("meter", "at", "-kind", "source", "value", "pk")  # never by arrival: late phones must change nothing


def _shown(key: int, at: datetime, value: int, kind: str, *rest: Any) -> Shown:
    return Shown(key, at, value, kind == ReadingKind.BASELINE, *rest)


Reach = Callable[[Any], Combinable]  # of a moment: an expression over Meter, where each meter's intervals start


def _since(since: Any) -> Combinable:
    return ExpressionWrapper(since, DateTimeField())


def readings(
    machine_ids: Iterable[int], since: datetime, until: datetime, reach: Reach = _since, history: int = 3
) -> tuple[dict[int, list[Shown]], dict[int, UUID | None]]:
    """Live readings by meter id between two moments, with up to `history` earlier ones so that intervals can start,
    and the document that brought each of them by its key.

    With `reach` they start elsewhere for each meter, so that one cabinet's long silence does not make all others'
    years load.
    """
    by_meter: dict[int, list[Shown]] = defaultdict(list)
    sources: dict[int, UUID | None] = {}
    for source, meter, *row in _readings(reach, history)(list(machine_ids), since, until):
        by_meter[meter].append(_shown(*row))
        sources[row[0]] = source
    return by_meter, sources


@cache
def _readings(reach: Reach, history: int) -> Prepared:
    """Working out the SQL takes three times what SQLite needs to answer it."""
    return Prepared(
        lambda machines, since, until: _live(machines, since, until, reach, history), list, datetime, datetime
    )


def _live(machines: Any, since: Any, until: Any, reach: Reach, history: int) -> QuerySet:
    wanted = (
        Meter.objects.filter(machine__in=machines)
        .annotate(start=reach(since))
        .annotate(floor=_reaching_back(history, OuterRef("start")))
        .filter(readings__at__gte=F("floor"), readings__at__lt=until, readings__withdrawn_at=None)
        .values_list("readings__pk", flat=True)
    )
    rows = Reading.objects.filter(pk__in=wanted).order_by(*IN_ORDER)
    return rows.values_list("source", *SHOWN)  # rows: models cost twice as much


LONG_AGO = datetime(1900, 1, 1, tzinfo=UTC)


def _reaching_back(number: int, at: Any, rows: QuerySet | None = None) -> Combinable:
    """When the last so many readings before a moment begin, over Meter. One that says that the one before was wrong
    only takes its place and does not count."""
    live = Reading.objects.live() if rows is None else rows
    counting = live.filter(meter=OuterRef("pk"), at__lt=at).exclude(explained_as=Explanation.LAST_WAS_WRONG)
    begins = counting.order_by("-at", "-pk").values("at")[number - 1 : number]
    return Coalesce(Subquery(begins), Value(LONG_AGO))


def counts_per_play(meter: Meter) -> int:
    """Pulses one play puts on this meter: a money meter of 25 cents a pulse counts four for a play of a dollar."""
    if meter.counts != Counts.MONEY_IN or not meter.value_cents:
        return 1
    return max(1, meter.machine.price_cents // meter.value_cents)


def test_counts(meter: Meter, plays: int) -> int:
    """What free test plays put on a meter; how many of them won a prize is not known."""
    return 0 if not meter.counts_tests or meter.counts == Counts.PRIZES_OUT else plays * counts_per_play(meter)


def intervals(
    machine_ids: Iterable[int], since: datetime, until: datetime, reach: Reach | None = None
) -> list[MeterInterval]:
    """Every interval that ends between two moments, of every meter of these cabinets, in order of time.

    With `reach` each meter's intervals start where that says instead of at `since`.
    """
    machine_ids = list(machine_ids)
    by_meter, sources = readings(machine_ids, since, until, reach or _since)
    meters = {meter.pk: meter for meter in Meter.objects.filter(pk__in=by_meter).select_related("machine")}
    found = [
        MeterInterval(meters[pk], one, sources[one.end.key])
        for pk, read in by_meter.items()
        for one in rules.intervals(read, meters[pk].digits, counts_per_play(meters[pk]))
        if reach is not None or one.end.at >= since
    ]
    return sorted(found, key=lambda each: (each.interval.end.at, each.meter.pk))


def before(machine_ids: Iterable[int], at: datetime, besides: Iterable[UUID] = ()) -> dict[int, list[Shown]]:
    """By meter, what a reading at a moment is measured by, without what the documents `besides` brought."""
    found: dict[int, list[Shown]] = defaultdict(list)
    machines, without = list(machine_ids), list(besides)
    for meter, *row in _before_without(machines, at, without) if without else _before(machines, at):
        found[meter].append(_shown(*row))
    return found


def prizes_around(machines: list[int], since: datetime) -> list["PrizesRead"]:
    """What the prizes meters of cabinets showed from a moment on, and in the readings before that they are measured by,
    in order; withdrawn readings too, as those around them changed with them."""
    return [
        PrizesRead(_shown(*row), machine, meter, digits, source, withdrawn is not None)
        for source, withdrawn, machine, digits, meter, *row in _prizes_around(machines, since)
    ]


@dataclass(frozen=True)
class PrizesRead:
    """A reading of a prizes meter, with what else its intervals ask for."""

    shown: Shown
    machine: int
    meter: int
    digits: int
    source: UUID | None
    withdrawn: bool


def _around(machines: Any, since: Any) -> QuerySet:
    floor = _reaching_back(2, since)  # the first reading from then on may say that the last one before was wrong
    meters = Meter.objects.filter(machine__in=machines, counts=Counts.PRIZES_OUT).annotate(floor=floor)
    wanted = meters.filter(readings__at__gte=F("floor")).values_list("readings__pk")
    rows = Reading.objects.filter(pk__in=wanted).order_by(*IN_ORDER)
    return rows.values_list("source", "withdrawn_at", "meter__machine", "meter__digits", *SHOWN)


_prizes_around = Prepared(_around, list, datetime)


NOBODY = UUID(int=0)  # an empty list would find nothing


def _newest(machines: Any, at: Any, besides: Any = ()) -> QuerySet:
    rows = Reading.objects.live().exclude(source__isnull=False, source__in=besides)
    meters = Meter.objects.filter(machine__in=machines).annotate(floor=_reaching_back(rules.HISTORY + 2, at, rows))
    wanted = meters.filter(readings__at__gte=F("floor"), readings__at__lt=at).values_list("readings__pk")
    return rows.filter(pk__in=wanted).order_by(*IN_ORDER).values_list(*SHOWN)


_before = Prepared(_newest, list, datetime)
_before_without = Prepared(_newest, list, datetime, list)


def usual_rates(machine_ids: Iterable[int], at: datetime) -> dict[int, float]:
    """Counts a day as usual, by meter id, for those with a history; what a reading at `at` would be measured by."""
    by_meter, _ = readings(machine_ids, at, at, history=rules.HISTORY + 1)
    meters = Meter.objects.select_related("machine").in_bulk(by_meter)
    found = {
        pk: rules.usual_rate(rules.intervals(read, meters[pk].digits, counts_per_play(meters[pk])))
        for pk, read in by_meter.items()
    }
    return {pk: rate for pk, rate in found.items() if rate is not None}


def preview(
    meter: Meter, value: int, at: datetime, earlier: list[Shown], *, tests_before: int = 0, explained_as: str = ""
) -> MeterInterval | None:
    """The interval that a new reading would end, with the question it raises; None when it starts the counting.

    `earlier` is what `before` gives of its meter.
    """
    new = Shown(key=0, at=at, value=value, tests_before=tests_before, explained_as=explained_as)
    found = rules.newest_interval([*earlier, new], meter.digits, counts_per_play(meter))
    return MeterInterval(meter, found) if found else None


def question_about(meter: Meter, value: int, at: datetime) -> str:
    """What to ask about a reading before it is kept: a sentence, or empty when nothing is unusual."""
    found = preview(meter, value, at, before([meter.machine_id], at).get(meter.pk, []))
    return found.interval.question if found else ""
