"""What is unusual about a visit while the person still stands there: a question, never a block."""

from uuid import UUID

from machines.cabinets import queries_meters
from machines.cabinets.models import Machine, Meter
from machines.cabinets.queries_meters import MeterInterval
from machines.cabinets.rules import Explanation
from routeapp.kit import money
from routeapp.visits import queries, rules
from routeapp.visits.models import ServiceEntry
from routeapp.visits.rules_document import Document, EntryPart


def questions(document: Document) -> dict[str, str]:
    """Sentences by the path of what they are about, for readings without an explanation and cash off by over a play."""
    found: dict[str, str] = {}
    replaced = list(ServiceEntry.objects.filter(visit=document.replaces).values_list("pk", flat=True))
    meters = Meter.objects.select_related("machine").in_bulk(
        [reading.meter for part in document.entries for reading in part.readings]
    )
    carried = queries.carried([part.machine for part in document.entries], document.arrived_at)
    for number, part in enumerate(document.entries):
        intervals = _intervals(part, document, meters, replaced)
        for place, reading in enumerate(part.readings):
            one = intervals.get(reading.meter)
            if one and one.interval.question and reading.explained_as == Explanation.NONE:
                found[f"entries.{number}.readings.{place}.value"] = f"{one.interval.question} Is that right?"
        if text := _about_cash(part, list(intervals.values()), carried.get(part.machine, rules.Reckoning({}))):
            found[f"entries.{number}.cash"] = text
    return found


def _intervals(
    part: EntryPart, document: Document, meters: dict[int, Meter], replaced: list[UUID]
) -> dict[int, MeterInterval]:
    found = {}
    for reading in part.readings:
        if reading.meter not in meters:
            continue
        one = queries_meters.preview(
            meters[reading.meter],
            reading.value,
            document.arrived_at,
            tests_before=part.tests_before,
            explained_as=reading.explained_as,
            besides=replaced,
        )
        if one:
            found[reading.meter] = one
    return found


def _about_cash(part: EntryPart, intervals: list[MeterInterval], carried: rules.Reckoning) -> str:
    read, expected = queries.expected_cents(intervals)
    if part.cash.taken != "counted" or not read:
        return ""
    off = carried.with_stop(expected, part.cash.cents)
    price = Machine.objects.values_list("price_cents", flat=True).get(pk=part.machine)
    if off is None or abs(off) <= price:
        return ""
    word = "short" if off < 0 else "over"
    return f"The cash is {word} by {money.as_text(abs(off))} against the meter. Is the count right?"
