"""Locks and the copies of their keys: who holds each."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Max

from machines.cabinets.models import Machine
from machines.parts.models import Held, Key, KeyMove, Lock
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import refuse_another, same
from routeapp.kit.rows import write

MOST_COPIES = 50


@transaction.atomic
def save_lock(
    *, held: Lock | None, name: str, number: str = "", machines: Iterable[Machine], by: Any, at: datetime
) -> Lock:
    """Add a lock, or change the one given; the same lock added twice is one. Refuses a second one with the same words
    and number."""
    lock("locks")
    machines = list(machines)
    others = Lock.objects.filter(name=name, number=number).exclude(pk=held.pk if held else None)
    if same := next((one for one in others if held is None and set(one.machines.all()) == set(machines)), None):
        return same
    if number and others:
        raise Refused(f"There is {name} {number} already. Open it and add the cabinets there.", "number")
    made = Lock.objects.select_for_update().get(pk=held.pk) if held else Lock()
    write(made, {"name": name, "number": number})
    made.machines.set(machines)
    audit.record("changed a lock" if held else "added a lock", made, by=by, at=at)
    return made


@transaction.atomic
def add_copies(*, uuid: UUID, of: Lock, copies: int, held: str = Held.SAFE, by: Any, at: datetime) -> list[Key]:
    """So many more copies were cut or came, or are ordered. The same `uuid` again changes nothing."""
    Lock.objects.select_for_update().get(pk=of.pk)
    if known := KeyMove.objects.filter(source=uuid):
        refuse_another(len(known), copies)
        return [move.key for move in known.select_related("key")]
    there = of.keys.aggregate(last=Max("tag"))["last"] or 0
    if there + copies > MOST_COPIES:
        raise Refused(f"That would be more than {MOST_COPIES} copies. Is it the right number?", "copies")
    keys = [Key.objects.create(lock=of, tag=there + number + 1) for number in range(copies)]
    for key in keys:
        facts = {"by": by, "at": at, "received_at": at, "source": uuid}
        KeyMove.objects.create(uuid=uuid5(uuid, str(key.tag)), key=key, held=held, **facts)
    audit.record(f"added {copies} keys", of, by=by, at=at)
    return keys


@transaction.atomic
def hand_over(*, uuid: UUID, key: Key, held: str, person: Any = None, note: str = "", by: Any, at: datetime) -> KeyMove:
    """Say where a copy is from now on. The same `uuid` again changes nothing."""
    Key.objects.select_for_update().get(pk=key.pk)
    if held == Held.PERSON and person is None:
        raise Refused("Say who has it.", "person")
    person = person if held == Held.PERSON else None
    if known := KeyMove.objects.filter(uuid=uuid).first():
        return same(known, key=key, held=held, person=person, note=note)
    facts = {"by": by, "at": at, "received_at": at}
    move = KeyMove.objects.create(uuid=uuid, key=key, held=held, person=person, note=note, **facts)
    audit.record(f"key: {move.get_held_display().lower()}", key, by=by, at=at)
    return move
