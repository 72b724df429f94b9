"""Promises to hosts and things to bring or do at the next visit."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same
from routeapp.planning.models_due import Errand, Promise, ToDo


@transaction.atomic
def promise(*, location: Location, every_days: int, note: str = "", by: Any, at: datetime) -> Promise:
    """Write down that somebody comes at least every so many days; what was promised before holds no longer. The same
    said twice is one."""
    location = Location.objects.select_for_update().get(pk=location.pk)
    before = Promise.objects.live().filter(location=location)
    if same := before.filter(every_days=every_days, note=note).first():
        return same
    before.update(withdrawn_at=at, withdrawn_by=by)
    facts = {"by": by, "at": at, "received_at": at}
    made = Promise.objects.create(location=location, every_days=every_days, note=note, **facts)
    audit.record("promised", made, by=by, at=at)
    return made


@transaction.atomic
def take_back_promise(*, location: Location, by: Any, at: datetime) -> None:
    """Nothing is promised to this host any more."""
    for one in Promise.objects.live().select_for_update().filter(location=location):
        one.withdrawn_at, one.withdrawn_by = at, by
        one.save(update_fields=["withdrawn_at", "withdrawn_by"])
        audit.record("took back a promise", one, by=by, at=at)


@transaction.atomic
def note_to_do(
    *,
    uuid: UUID,
    location: Location,
    errand: str,
    machine: Machine | None = None,
    text: str = "",
    by_day: date | None = None,
    by: Any,
    at: datetime,
) -> ToDo:
    """Note something for the next visit. Refuses one without words, cabinet or day; the same form sent twice is one."""
    lock("to-do", uuid)
    said = {"errand": errand, "machine": machine, "text": text, "by_day": by_day}
    if made := ToDo.objects.filter(uuid=uuid).first():
        return same(made, location=location, **said)
    if errand in (Errand.INSTALL, Errand.PULL) and machine is None:
        raise Refused("Choose the cabinet.", "machine")
    if errand in (Errand.BRING, Errand.OTHER, Errand.PERMIT) and not text:
        raise Refused("Say in words what it is.", "text")
    if errand == Errand.PERMIT and by_day is None:
        raise Refused("Say on which day it runs out.", "by_day")
    made = ToDo.objects.create(uuid=uuid, location=location, **said, by=by, at=at, received_at=at)
    audit.record("noted to do", made, by=by, at=at)
    return made


@transaction.atomic
def finish_to_do(*, to_do: ToDo, by: Any, at: datetime) -> None:
    """It is done. Done twice is done once."""
    if ToDo.objects.filter(pk=to_do.pk, done_at=None).update(done_at=at):
        audit.record("did", to_do, by=by, at=at)
