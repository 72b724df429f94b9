"""What is unusual about a visit while the person still stands there: a question, never a block."""

from datetime import datetime
from uuid import UUID

from django.db.models import OuterRef, QuerySet, Subquery

from machines.cabinets import queries_meters
from machines.cabinets.models import Machine, Meter
from machines.cabinets.queries_meters import MeterInterval
from machines.cabinets.rules import Explanation, Shown
from routeapp.cards.queries_plays import with_readers
from routeapp.cash import queries as cash
from routeapp.kit import money
from routeapp.kit.prepared import Prepared
from routeapp.visits import queries, queries_late, rules
from routeapp.visits.models import CashTaken, ServiceEntry
from routeapp.visits.rules_document import Document, EntryPart


def questions(document: Document, known: dict[int, Meter] | None = None) -> dict[str, str]:
    """Sentences by the path of what they are about: readings without an explanation, cash off by over a play,
    cabinets that stood elsewhere, and a host who got more than there was. `known` are its meters, if at hand."""
    replaced = _entries_of(document.replaces) if document.replaces else []
    found = {**_about_places(document), **_about_payment(document, replaced)}
    meters, machines = known or _read(document), [part.machine for part in document.entries]
    readers = with_readers(machines)
    earlier = queries_meters.before(machines, document.arrived_at, replaced) if meters else {}
    emptied = [part.machine for part in document.entries if part.cash.taken == CashTaken.COUNTED]
    stops = {machine: (at, cash) for machine, at, cash in _last_stops(emptied, document.arrived_at)}
    for number, part in enumerate(document.entries):
        intervals = _intervals(part, document, meters, earlier)
        for place, reading in enumerate(part.readings):
            one = intervals.get(reading.meter)
            if one and one.interval.question and reading.explained_as == Explanation.NONE:
                found[f"entries.{number}.readings.{place}.value"] = f"{one.interval.question} Is that right?"
        told, by_card, last = list(intervals.values()), part.machine in readers, stops.get(part.machine)
        if text := _about_cash(part, told, document.arrived_at, by_card, last):
            found[f"entries.{number}.cash"] = text
    return found


def _about_places(document: Document) -> dict[str, str]:
    """A cabinet that was moved meanwhile counts where the visit was; whether that is right only a person can say."""
    strays = queries_late.strays([part.machine for part in document.entries], document.location, document.arrived_at)
    if not strays:
        return {}
    machines = Machine.objects.in_bulk(strays)
    return {
        f"entries.{number}.machine": f"By the books {machines[part.machine]} {strays[part.machine]} then. "
        "Was it really here?"
        for number, part in enumerate(document.entries)
        if part.machine in machines
    }


def _about_payment(document: Document, replaced: list[UUID]) -> dict[str, str]:
    paid, bag = document.host_payment, document.loose_bag
    counted = sum(part.cash.cents for part in document.entries if part.cash.taken == "counted")
    if not paid or not bag or paid.cents <= counted:
        return {}
    besides = [*replaced, document.replaces] if document.replaces else []
    there = counted + cash.held_cents(bag.id, besides)
    if paid.cents <= there:
        return {}
    text = f"The host got {money.as_text(paid.cents)}, but only {money.as_text(there)} was counted here."
    return {"host_payment.cents": f"{text} Is that right?"}


def _read(document: Document) -> dict[int, Meter]:
    meters = _meters([reading.meter for part in document.entries for reading in part.readings])
    machines = {machine.pk: machine for machine in _machines([meter.machine_id for meter in meters])}
    for meter in meters:
        meter.machine = machines[meter.machine_id]
    return {meter.pk: meter for meter in meters}


_meters = Prepared(lambda ids: Meter.objects.filter(pk__in=ids).order_by(), list)
_machines = Prepared(lambda ids: Machine.objects.filter(pk__in=ids).order_by(), list)


def _intervals(
    part: EntryPart, document: Document, meters: dict[int, Meter], earlier: dict[int, list[Shown]]
) -> dict[int, MeterInterval]:
    found = {}
    for reading in part.readings:
        if reading.meter not in meters:
            continue
        one = queries_meters.preview(
            meters[reading.meter],
            reading.value,
            document.arrived_at,
            earlier.get(reading.meter, []),
            tests_before=queries_meters.test_counts(meters[reading.meter], part.tests_before),
            explained_as=reading.explained_as,
        )
        if one:
            found[reading.meter] = one
    return found


def _entries_of(visit: UUID) -> list[UUID]:
    return list(ServiceEntry.objects.filter(visit=visit).values_list("pk", flat=True))


Stop = tuple[datetime, str]  # when a cabinet was visited, and what became of its cash


def _about_cash(part: EntryPart, intervals: list[MeterInterval], at: datetime, by_card: bool, last: Stop | None) -> str:
    """Nothing is asked while no statement tells what of the plays was paid by card."""
    told = queries.tells_money(queries.with_cards([part.machine], intervals) if by_card else intervals)
    if part.cash.taken != "counted" or told is None:
        return ""
    off = _carried(told, at, last).with_stop(told.cash_cents, part.cash.cents)
    if off is None or abs(off) <= told.meter.machine.price_cents:
        return ""
    word = "short" if off < 0 else "over"
    return f"The cash is {word} by {money.as_text(abs(off))} against the meter. Is the count right?"


def _newest(machines: list[int], at: datetime) -> QuerySet:
    before = ServiceEntry.objects.filter(machine=OuterRef("pk"), at__lt=at, withdrawn_at=None)
    newest = Subquery(before.order_by("-at", "-uuid").values("pk")[:1])
    return Machine.objects.filter(pk__in=machines, entries=newest).order_by().values_list("pk", *STOP)


STOP = ("entries__at", "entries__cash")
_last_stops = Prepared(_newest, list, datetime)


def _carried(told: MeterInterval, at: datetime, last: Stop | None) -> rules.Reckoning:
    """What the cabinet carries on at a moment: nothing, when this stretch began where its box was emptied last.

    That is how nearly every stop is, and a quick look tells; reckoning it from the books costs ten times as much.
    """
    machine, start = told.meter.machine_id, told.interval.start
    if not last or (last[0] == start.at and last[1] != CashTaken.NOT_TAKEN and not start.baseline):
        return rules.Reckoning({})
    return queries.carried([machine], at).get(machine, rules.Reckoning({}))
