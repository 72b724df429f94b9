"""What happens to a round on the road besides visits: a stop skipped, the load list ticked.

Both come from a page or, later, from a phone that had no network; the id is made there, so twice is once.
"""

from datetime import datetime
from typing import Any

from django.db import transaction

from locations.sites.models import Location
from routeapp.kit import audit
from routeapp.kit.access import OWNER, may
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.people import called
from routeapp.planning.models_rounds import LoadTick, Round, Skip
from routeapp.planning.rules_note import SkipNote, TickNote
from routeapp.stock import actions as stock
from routeapp.stock.actions_papers import carry
from routeapp.stock.models import Place, PlaceKind, Prize


class Clash(Refused):
    """The id of this note belongs to another one already."""


@transaction.atomic
def take_note(*, note: SkipNote | TickNote, by: Any, at: datetime) -> bool:
    """Write a note down; `at` is when it was received. False when it came before.

    Refuses the round of somebody else, and what it names but is not there; raises Clash for a used id with another
    content. A dropped round still takes notes: the phone did not know.
    """
    lock(note.id)
    note = note.model_copy(update={"at": min(note.at, at)})  # a clock that is fast must not have the last word for days
    one = Round.objects.filter(pk=note.round).select_related("person").first()
    if one is None:
        raise Refused("This round is not here.", "round")
    if one.person_id != by.pk and not may(by, OWNER):
        raise Refused("This is the round of somebody else.", "round")
    return _skip(one, note, by, at) if isinstance(note, SkipNote) else _tick(one, note, by, at)


def _skip(one: Round, note: SkipNote, by: Any, at: datetime) -> bool:
    said = {"round": one, "location_id": note.location, "reason": note.reason}
    if (there := Skip.objects.filter(uuid=note.id).first()) or LoadTick.objects.filter(uuid=note.id).exists():
        return _same(there, said)
    location = Location.objects.filter(pk=note.location).first()
    if location is None:
        raise Refused("This location is not here.", "location")
    Skip.objects.create(uuid=note.id, source=note.id, **said, at=note.at, by=by, received_at=at)
    audit.record("skipped on a round", location, by=by, at=at)
    return True


def _same(there: Any, said: dict[str, Any]) -> bool:
    if there is None or any(getattr(there, name) != value for name, value in said.items()):
        raise Clash("Another note has this id.")
    return False


@transaction.atomic
def undo_skip(*, skip: Skip, by: Any, at: datetime) -> None:
    """The stop is ahead again. Undone twice is undone once."""
    if Skip.objects.live().filter(pk=skip.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record("took a skipped stop up again", skip.location, by=by, at=at)


def _tick(one: Round, note: TickNote, by: Any, at: datetime) -> bool:
    """The latest tick of a line holds, in whatever order they arrive: only what it says is moved."""
    said = {"round": one, "line": note.line, "on": note.on, "pieces": note.pieces}
    said["from_place_id"] = note.from_place
    if (there := LoadTick.objects.filter(uuid=note.id).first()) or Skip.objects.filter(uuid=note.id).exists():
        return _same(there, said)
    lock("load list", one.pk, note.line)
    prize, store, van = _meant(one, note)
    others = LoadTick.objects.filter(round=one, line=note.line)
    newer = others.filter(at__gt=note.at).exists()
    before = [tick.uuid for tick in others.filter(on=True)] if not newer else []
    LoadTick.objects.create(uuid=note.id, source=note.id, **said, at=note.at, by=by, received_at=at)
    if before and prize:
        stock.take_back(sources=before, by=by, at=at)
    if note.on and prize and not newer:
        lines, when = [(prize, note.pieces)], {"at": note.at, "received_at": at}
        carry(uuid=note.id, from_place=store, to_place=van, lines=lines, by=by, **when)
    audit.record("put into the van for" if note.on else "took out of the van for", one, by=by, at=at)
    return True


def _meant(one: Round, note: TickNote) -> tuple[Prize | None, Place | None, Place | None]:
    """The prize of a line, the store it is taken from and the van it goes to."""
    noun, _, pk = note.line.partition("-")
    if noun != "prize":
        return None, None, None
    prize = Prize.objects.filter(pk=int(pk)).first()
    store = Place.objects.filter(pk=note.from_place, kind__in=(PlaceKind.STORE, PlaceKind.VAN)).first()
    van = Place.objects.filter(person=one.person_id, kind=PlaceKind.VAN).first()
    if prize is None:
        raise Refused("This prize is not here.", "line")
    if van is None:
        who = called(one.person)
        raise Refused(f"{who} has no van in the books. The owner adds it under Prizes, Stores and vans.", "line")
    if note.on and (store is None or store == van):
        raise Refused("Say which store these prizes come from.", "from_place")
    if note.on and not note.pieces:
        raise Refused("Say how many pieces went into the van.", "pieces")
    return prize, store, van
