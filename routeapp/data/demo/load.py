"""Loads the story through the actions that real input takes, in the order in which the office learned of things."""

from collections import Counter
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import NAMESPACE_OID, UUID, uuid5
from zoneinfo import ZoneInfo

from django.db import transaction

from locations.agreements.actions import add_agreement
from locations.agreements.rules_terms import TermKind, TermLine
from locations.placements.queries import placement_of
from machines.cabinets.actions import change_settings
from machines.cabinets.actions_meter_changes import NewMeter, replace_meter
from machines.faults.actions import report_fault
from routeapp.cash import actions as cash
from routeapp.cash.actions_deposits import deposit
from routeapp.cash.models import Bag
from routeapp.cash.queries_deposits import chosen, pieces_in
from routeapp.data.demo import events as told
from routeapp.data.demo import names, papers, pictures
from routeapp.data.demo.bank import bank
from routeapp.data.demo.buying import buy
from routeapp.data.demo.cards import tell_cards
from routeapp.data.demo.cast import Cast, write_cast
from routeapp.data.demo.costs import decide
from routeapp.data.demo.rounds import drive
from routeapp.data.demo.settling import Settler
from routeapp.data.demo.spending import spend
from routeapp.data.demo.story import LOCATIONS, MONTHS, SEED, begin, play
from routeapp.data.demo.terms import agree_further
from routeapp.data.demo.waiting import leave_waiting
from routeapp.stock.actions_papers import Delivered, carry, deliver
from routeapp.visits.actions import record_visit
from routeapp.visits.actions_assign import MeterShown, assign, take_away

Say = Callable[[str], Any]


@transaction.atomic
def load(
    *, now: datetime, say: Say = print, seed: int = SEED, months: float = MONTHS, locations: int = LOCATIONS
) -> None:
    """Fill an empty database with the story up to `now`. All or nothing: an interrupted load leaves nothing behind."""
    local = now.astimezone(ZoneInfo(names.ZONE)).replace(tzinfo=None)
    say(f"Playing {months:g} months of an invented business ...")
    world, changes = begin(local, seed=seed, months=months, locations=locations)
    cast = write_cast(world)
    say(f"{len(cast.locations)} locations and {len(cast.machines)} cabinets written down.")
    events = play(world, changes)
    month, visits, settler = "", 0, Settler(cast, local)
    for event in events:
        settler.at_the_desk(event.known)
        if f"{event.known:%B %Y}" != month and month:
            say(f"{month}: {visits} visits")
            visits = 0
        month = f"{event.known:%B %Y}"
        visits += isinstance(event, told.Stop)
        DO[type(event)](cast, event)
    say(f"{month}: {visits} visits")
    tell_cards(cast, world, local)
    spend(cast, local)
    buy(cast, local)
    bank(cast, now)
    decide(cast, local)
    agree_further(cast, local)
    leave_waiting(cast, local)
    drive(cast, local)


def _facts(cast: Cast, event: told.Event) -> dict[str, Any]:
    at = cast.moment(event.at)
    return {"by": cast.people.get(event.person), "at": at, "received_at": at}


def _visit(cast: Cast, stop: told.Stop) -> None:
    photos = {
        work.photo: pictures.cabinet(cast.machines[work.cabinet].model.kind, len(work.cabinet))
        for work in stop.works
        if work.photo
    }
    received = cast.moment(stop.received_at or stop.at + timedelta(minutes=stop.minutes + 1))
    record_visit(document=papers.document(stop, cast), photos=photos, by=cast.people[stop.person], at=received)


def _place(cast: Cast, event: told.Placed) -> None:
    facts, machine = _facts(cast, event), cast.machines[event.cabinet]
    assign(
        uuid=event.id,
        machine=machine,
        location=cast.locations[event.site],
        readings=_shown(cast, event.cabinet, event.opening),
        loaded={cast.prizes[name]: pieces for name, pieces in event.fill.items()},
        from_place=cast.store,
        **facts,
    )
    if event.settings:
        change_settings(machine=machine, **event.settings, **facts)


def _shown(cast: Cast, cabinet: str, values: dict[str, int]) -> list[MeterShown]:
    return [MeterShown(cast.meters[cabinet, counts], value) for counts, value in values.items()]


def _take_away(cast: Cast, event: told.Left) -> None:
    facts = _facts(cast, event)
    placement = placement_of(cast.machines[event.cabinet], facts["at"])
    take_away(placement=placement, because=event.because, next_status=event.status, **facts)


def _report(cast: Cast, event: told.Report) -> None:
    report_fault(
        uuid=event.id,
        machine=cast.machines[event.cabinet],
        text=event.text,
        about="lost_money" if event.cents else "fault",
        via="label",
        stops_play=event.stops_play,
        amount_cents=event.cents,
        contact=event.contact,
        **_facts(cast, event),
    )


def _deliver(cast: Cast, event: told.Delivery) -> None:
    lines = [Delivered(cast.prizes[name], pieces, cents) for name, pieces, cents in event.lines]
    said = {"supplier": event.supplier, "paper": event.paper, "to_place": cast.store, "lines": lines}
    deliver(uuid=event.id, **said, **_facts(cast, event))


def _load_van(cast: Cast, event: told.VanLoad) -> None:
    lines = [(cast.prizes[name], pieces) for name, pieces in event.pieces.items()]
    van = cast.vans[event.person]
    carry(uuid=event.id, from_place=cast.store, to_place=van, lines=lines, **_facts(cast, event))


def _bag(uuid: UUID) -> Bag:
    return Bag.objects.select_related("location").get(uuid=uuid)


def _count_bag(cast: Cast, event: told.BagCounted) -> None:
    lines = +Counter(event.lines)
    cents = told.worth(lines)
    said = {"how": "denominations", "cents": cents, "lines": lines, "note": event.note}
    cash.count_bag(uuid=event.id, bag=_bag(event.bag), **said, **_facts(cast, event))


def _keep_bag(cast: Cast, event: told.BagKept) -> None:
    cash.hand_over(bag=_bag(event.bag), holder="safe", person=None, **_facts(cast, event))


def _bank(cast: Cast, event: told.Banked) -> None:
    bags = chosen(Bag.objects.filter(uuid__in=event.bags).values_list("pk", flat=True))
    said = {"uuid": uuid5(NAMESPACE_OID, f"{event.at}"), "bags": bags, "lines": pieces_in(bags)}
    deposit(**said, **_facts(cast, event))


def _swap_meter(cast: Cast, event: told.MeterSwap) -> None:
    meter = cast.meters[event.cabinet, event.counts]
    new = NewMeter(event.counts, meter.digits, event.opening, meter.value_cents)
    swapped = replace_meter(meter=meter, closing=None, new=new, **_facts(cast, event))
    cast.meters[event.cabinet, event.counts] = swapped


def _agree(cast: Cast, event: told.Terms) -> None:
    add_agreement(
        location=cast.locations[event.site],
        starts_on=event.starts_on,
        terms=[TermLine(TermKind.SHARE, rate_bp=event.share)],
        settled=event.settled,
        paid=event.paid,
        note=event.note,
        **_facts(cast, event),
    )


DO: dict[type, Callable[[Cast, Any], None]] = {
    told.Stop: _visit,
    told.Placed: _place,
    told.Left: _take_away,
    told.Report: _report,
    told.Delivery: _deliver,
    told.VanLoad: _load_van,
    told.BagCounted: _count_bag,
    told.BagKept: _keep_bag,
    told.Banked: _bank,
    told.MeterSwap: _swap_meter,
    told.Terms: _agree,
}
