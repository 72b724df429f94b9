"""Reads about meters: the last reading of each, and the intervals of any stretch of time."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from machines.cabinets import rules
from machines.cabinets.models import Counts, Meter, Reading, ReadingKind
from machines.cabinets.rules import Interval, Shown


def meters_in_use(machine_ids: Iterable[int]) -> QuerySet:
    """The meters a person at the cabinet can read, each with its last live reading (`last_value`, `last_at`)."""
    last = Reading.objects.live().filter(meter=OuterRef("pk")).order_by("-at", "kind", "-pk")
    return (
        Meter.objects.filter(machine__in=machine_ids, removed_at=None)
        .select_related("machine")
        .annotate(last_value=Subquery(last.values("value")[:1]), last_at=Subquery(last.values("at")[:1]))
        .order_by("machine__code", "counts")
    )


@dataclass(frozen=True)
class MeterInterval:
    """One interval with the meter it was read from."""

    meter: Meter
    interval: Interval

    @property
    def cents(self) -> int | None:
        """What the counts are worth, in whole minor units."""
        return None if self.interval.counts is None else self.interval.counts * self.meter.value_cents


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


def readings(
    machine_ids: Iterable[int], since: datetime, until: datetime, history: int = 3
) -> dict[int, list[Reading]]:
    """Live readings by meter id between two moments, with up to `history` earlier ones so that intervals can start."""
    earlier = Reading.objects.live().filter(meter=OuterRef("pk"), at__lt=since).order_by("-at", "-pk").values("at")
    floor = Coalesce(*[Subquery(earlier[back : back + 1]) for back in reversed(range(history))], since)
    wanted = (
        Meter.objects.filter(machine__in=machine_ids)
        .annotate(floor=floor)
        .filter(readings__at__gte=F("floor"), readings__at__lt=until, readings__withdrawn_at=None)
        .values_list("readings__pk", flat=True)
    )
    by_meter: dict[int, list[Reading]] = defaultdict(list)
    order = ("meter", "at", "-kind", "source", "value", "pk")  # never by arrival: late phones must change nothing
    for reading in Reading.objects.filter(pk__in=wanted).order_by(*order):
        by_meter[reading.meter_id].append(reading)
    return by_meter


def counts_per_play(meter: Meter) -> int:
    """Pulses one play puts on this meter: a money meter of 25 cents a pulse counts four for a play of a dollar."""
    if meter.counts != Counts.MONEY_IN or not meter.value_cents:
        return 1
    return max(1, meter.machine.price_cents // meter.value_cents)


def intervals(machine_ids: Iterable[int], since: datetime, until: datetime) -> list[MeterInterval]:
    """Every interval that ends between two moments, of every meter of these cabinets, in order of time."""
    machine_ids = list(machine_ids)
    by_meter = readings(machine_ids, since, until)
    meters = {meter.pk: meter for meter in Meter.objects.filter(pk__in=by_meter).select_related("machine")}
    found = [
        MeterInterval(meters[pk], one)
        for pk, rows in by_meter.items()
        for one in rules.intervals([shown(row) for row in rows], meters[pk].digits, counts_per_play(meters[pk]))
        if one.end.at >= since
    ]
    return sorted(found, key=lambda each: (each.interval.end.at, each.meter.pk))


def question_about(
    meter: Meter, value: int, at: datetime, *, tests_before: int = 0, explained_as: str = "", besides: Any = None
) -> str:
    """What to ask about a reading before it is kept: a sentence, or empty when nothing is unusual.

    `besides` is the source of readings that the new one is going to replace.
    """
    before = Reading.objects.live().filter(meter=meter, at__lt=at).exclude(Q(source__isnull=False) & Q(source=besides))
    rows = [shown(row) for row in before.order_by("-at", "kind", "-pk")[: rules.HISTORY + 2]][::-1]
    new = Shown(key=0, at=at, value=value, tests_before=tests_before, explained_as=explained_as)
    found = rules.intervals([*rows, new], meter.digits, counts_per_play(meter))
    return found[-1].question if found and found[-1].end.key == 0 else ""
