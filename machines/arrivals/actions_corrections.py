"""Putting right a delivery that was written down wrongly."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from machines.arrivals.actions import Photographed, Told, record_arrival
from machines.arrivals.models import Arrival, ArrivalPhoto, ClaimItem, Finding
from machines.cabinets.actions import withdraw_status
from machines.cabinets.models import Machine, StatusChange
from machines.parts.models import KeyMove, Lock, PartMove
from machines.purchases.models import Milestone, Receipt
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock

NOT_KEPT = (
    "The fields of this page were not kept, and an empty page in its place would lose what was found. "
    "Add what is new as unpacked later."
)
BROUGHT = (Finding, Milestone, PartMove, Receipt)


@transaction.atomic
def correct_arrival(
    *, told: Told, photos: Mapping[UUID, Photographed], by: Any, at: datetime, received_at: datetime
) -> tuple[Arrival, bool]:
    """Withdraw the delivery that `told` replaces with all it brought, and write down what is told now.

    Both stay readable; photos go on with the new one. The same document again changes nothing. Refuses while a claim
    rests on what was found, a delivery that somebody else corrected meanwhile, and one whose page cannot be filled
    again.
    """
    lock("arrival", told.uuid)
    old = told.replaces
    if old is None or Arrival.objects.filter(uuid=told.uuid).exists():
        return record_arrival(told=told, photos=photos, by=by, at=at, received_at=received_at)
    old = Arrival.objects.select_for_update().get(pk=old.pk)
    _check(old)
    out = _keys_given_out(old)
    _withdraw(old, by, received_at)
    cabinets = [replace(one, keys_out=out.get(one.machine.pk, {})) for one in told.cabinets]
    told = replace(told, follows=old.follows, cabinets=cabinets)
    arrival, made = record_arrival(told=told, photos=photos, by=by, at=at, received_at=received_at)
    # A delivery is one, however often it is written down: its photos and what was unpacked later go on with it.
    ArrivalPhoto.objects.filter(arrival=old).update(arrival=arrival)
    Arrival.objects.filter(follows=old).update(follows=arrival)
    return arrival, made


def _check(old: Arrival) -> None:
    if old.withdrawn_at:
        raise Refused("This delivery was corrected meanwhile. Open it anew; what you typed was kept here.")
    claimed = ClaimItem.objects.filter(finding__arrival=old, claim__withdrawn_at=None)
    if claimed.exists():
        raise Refused("A claim rests on what was found here, so it stays as it is. Add what is new as unpacked later.")
    if not old.typed:
        raise Refused(NOT_KEPT)


def _withdraw(old: Arrival, by: Any, at: datetime) -> None:
    for facts in BROUGHT:
        facts.objects.withdraw(sources=[old.uuid], by=by, at=at)
    KeyMove.objects.withdraw(sources=_key_sources(old).values(), by=by, at=at)
    for change in StatusChange.objects.live().filter(source=old.uuid).select_related("machine"):
        withdraw_status(change=change, by=by, at=at)
    Arrival.objects.filter(pk=old.pk).update(withdrawn_at=at, withdrawn_by=by)
    audit.record("corrected", old, by=by, at=at)


def _key_sources(old: Arrival) -> dict[tuple[int, str], UUID]:
    """What the keys of each cabinet and lock came under, as record_arrival names it."""
    machines = Machine.objects.filter(findings__arrival=old)
    named = Lock.objects.filter(machines__in=machines).values_list("machines", "name").distinct()
    return {(machine, name): uuid5(old.uuid, f"keys {machine} {name}") for machine, name in named}


def _keys_given_out(old: Arrival) -> dict[int, dict[str, int]]:
    """How many keys of this delivery went on since, by cabinet and lock: those are there, whatever is typed now."""
    out: dict[int, dict[str, int]] = {}
    for (machine, name), source in _key_sources(old).items():
        moves = KeyMove.objects.live().filter(key__moves__source=source).exclude(source=source)
        if many := moves.values("key").distinct().count():
            out.setdefault(machine, {})[name] = many
    return out
