"""Taking a whole import back, as new facts: visits are withdrawn, moves reversed, what it made is put out of use.

What others use meanwhile is kept and named.
"""

from collections import Counter, defaultdict
from collections.abc import Callable
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from locations.agreements.actions import withdraw_agreement
from locations.agreements.models import Agreement
from locations.hosts.actions import remove_contact
from locations.hosts.models import Contact
from locations.placements.models import Placement
from locations.sites.actions import close_location, edit_location
from locations.sites.models import Location
from machines.cabinets.actions import change_cabinet, change_status
from machines.cabinets.models import GONE, Machine, Status
from machines.faults.models import Fault
from routeapp.cash.actions_deposits import withdraw_deposit
from routeapp.cash.models import Bag
from routeapp.cash.queries_deposits import deposit_of
from routeapp.data.imports.models import Brought, Noun, SheetImport, counted
from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.stock.actions import take_back
from routeapp.stock.actions_goods import change_prize
from routeapp.stock.models import Prize, StockMove
from routeapp.visits.actions import record_visit
from routeapp.visits.actions_assign import take_away
from routeapp.visits.models import ServiceEntry, Visit
from routeapp.visits.rules_document import read

Kept = list[str]  # sentences about what stays


@transaction.atomic
def take_back_import(
    *, sheet_import: SheetImport, progress: Callable[..., None], by: Any, at: datetime
) -> dict[str, Any]:
    """Take back all that an import brought; returns how much of what was taken back, and sentences on what stays."""
    brought: dict[str, list[Brought]] = defaultdict(list)
    for one in sheet_import.brought.filter(retired_at=None).order_by("-pk"):
        brought[one.noun].append(one)
    kept: Kept = []
    undone: Counter[str] = Counter()
    total, done = sum(map(len, brought.values())), 0
    for noun, undo in UNDO.items():  # what stands on other things goes before them
        for one in brought.pop(noun, ()):
            with transaction.atomic():
                said = _undo(undo, one, by, at)
            done += 1
            progress("Taking back", done, total)
            if said:
                kept.append(said)
            else:
                undone[Noun(noun).label] += 1
                one.retired_at = at
                one.save(update_fields=["retired_at"])
    if left := counted({Noun(noun).label: len(rest) for noun, rest in brought.items()}):
        kept.append(f"{left}: kept, as they cost nothing and are used again.")
    return {"undone": undone, "kept": kept}


def _undo(undo: Callable, one: Brought, by: Any, at: datetime) -> str:
    """Why this one stays; empty when it was taken back."""
    try:
        return undo(one, by, at) or ""
    except Refused as refusal:
        return refusal.message


def _bag(one: Brought, by: Any, at: datetime) -> None:
    if deposit := deposit_of(Bag.objects.get(pk=one.key)):
        withdraw_deposit(deposit=deposit, by=by, at=at)


def _visit(one: Brought, by: Any, at: datetime) -> str | None:
    visit = Visit.objects.select_related("location").get(pk=one.key)
    moment = visit.at.isoformat()
    if visit.withdrawn_at:
        day = clock.local_day(visit.at, visit.location.time_zone)
        return f"The visit to {visit.location} on {day:%-d %b %Y} was corrected since and stays as corrected."
    paper = {
        "id": uuid5(visit.pk, "taken back"),
        "location": visit.location_id,
        "arrived_at": moment,
        "departed_at": moment,
        "replaces": visit.pk,
        "void": True,
        "reason": f"The import of {one.sheet_import.name} was taken back."[:300],
    }
    record_visit(document=read(paper), photos={}, by=by, at=at)
    return None


def _stock(one: Brought, by: Any, at: datetime) -> None:
    take_back(sources=[UUID(one.key)], by=by, at=at)


def _agreement(one: Brought, by: Any, at: datetime) -> None:
    withdraw_agreement(agreement=Agreement.objects.select_related("location").get(pk=one.key), by=by, at=at)


def _placement(one: Brought, by: Any, at: datetime) -> str | None:
    placement = Placement.objects.select_related("machine", "location").filter(pk=one.key).first()
    if placement is None:
        return None  # somebody withdrew it
    if _visited_by_others(placement.machine):
        return f"{placement} stays: it was visited since."
    if placement.ended_at is not None:
        return f"{placement} stays in its history: that was over already."
    because = f"the import of {one.sheet_import.name} was taken back"[:200]
    take_away(placement=placement, because=because, next_status=Status.SPARE, by=by, at=at, received_at=at)
    return None


def _visited_by_others(machine: Machine) -> bool:
    return ServiceEntry.objects.filter(machine=machine, withdrawn_at=None).exists()


def _cabinet(one: Brought, by: Any, at: datetime) -> str | None:
    machine = Machine.objects.get(pk=one.key)
    if one.filled is not None:
        still = {name: "" for name, value in one.filled.items() if getattr(machine, name) == value}
        change_cabinet(machine=machine, code=machine.code, **still, by=by, at=at)
        return None
    if machine.placements.filter(ended_at=None).exists() or _visited_by_others(machine):
        return f"Cabinet {machine} stays: it is used since."
    if Fault.objects.live().filter(machine=machine).exists():
        return f"Cabinet {machine} stays: a fault was reported on it."
    if machine.status not in GONE:
        note = f"the import of {one.sheet_import.name} was taken back"[:200]
        change_status(machine=machine, status=Status.SCRAPPED, note=note, by=by, at=at, received_at=at)
    return None


def _prize(one: Brought, by: Any, at: datetime) -> str | None:
    prize = Prize.objects.get(pk=one.key)
    if one.filled is not None:
        still = {name: type(value)() for name, value in one.filled.items() if getattr(prize, name) == value}
        change_prize(prize=prize, name=prize.name, **still, by=by, at=at)
        return None
    if StockMove.objects.standing().filter(prize=prize).exists():
        return f"The prize {prize} stays: it was moved since."
    change_prize(prize=prize, name=prize.name, retired=True, by=by, at=at)
    return None


def _location(one: Brought, by: Any, at: datetime) -> str | None:
    location = Location.objects.get(pk=one.key)
    if one.filled is not None:
        still = {name: "" for name, value in one.filled.items() if getattr(location, name) == value}
        edit_location(location=location, name=location.name, **still, by=by, at=at)
        return None
    if location.visits.filter(withdrawn_at=None, void=False).exists():
        return f"{location} stays: it was visited since."
    close_location(location=location, day=clock.local_day(at, location.time_zone), by=by, at=at)
    return None


def _contact(one: Brought, by: Any, at: datetime) -> None:
    if contact := Contact.objects.filter(pk=one.key).first():
        remove_contact(contact=contact, by=by, at=at)


UNDO: dict[str, Callable] = {
    Noun.BAG: _bag,
    Noun.VISIT: _visit,
    Noun.STOCK: _stock,
    Noun.AGREEMENT: _agreement,
    Noun.PLACEMENT: _placement,
    Noun.CABINET: _cabinet,
    Noun.PRIZE: _prize,
    Noun.CONTACT: _contact,
    Noun.LOCATION: _location,
}
