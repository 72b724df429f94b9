"""Faults reported and fixed."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from machines.cabinets.actions import change_status
from machines.cabinets.models import Machine, Status
from machines.faults.models import About, Fault, FaultFix
from machines.faults.queries import back_in_order
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.once import same


@transaction.atomic
def report_fault(
    *,
    uuid: UUID,
    machine: Machine,
    text: str,
    about: str = About.FAULT,
    via: str,
    stops_play: bool = False,
    amount_cents: int | None = None,
    contact: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
) -> Fault:
    """Note that something is wrong. The same `uuid` again changes nothing. `by` is None for a stranger's report.

    Refuses a report that does not say what is wrong.
    """
    if not text.strip():
        raise Refused("Say in a few words what is wrong.", "text")
    said = {
        "machine": machine,
        "text": text,
        "about": about,
        "via": via,
        "stops_play": stops_play,
        "amount_cents": amount_cents,
        "contact": contact,
    }
    when = {"by": by, "at": at, "received_at": received_at, "source": source}
    fault, made = Fault.objects.live().get_or_create(uuid=uuid, defaults={**said, **when})
    if source is None:
        same(fault, machine=machine, text=text)
    if made and by is not None and source is None:  # a document has its own line in the log
        audit.record("reported a fault", fault, by=by, at=received_at)
    return fault


@transaction.atomic
def fix_fault(
    *, fault: Fault, how: str, by: Any, at: datetime, received_at: datetime, source: UUID | None = None
) -> FaultFix:
    """Note how a fault was cleared. Two people may both have done something; the same fix sent twice is one.

    The last one that stopped play puts a cabinet that was out of order in service again, as a step of its life.
    """
    Machine.objects.select_for_update().get(pk=fault.machine_id)  # fixes at the same moment must see each other
    live = FaultFix.objects.live()
    fix, made = live.get_or_create(
        fault=fault, how=how, by=by, source=source, defaults={"at": at, "received_at": received_at}
    )
    if made and source is None:
        audit.record("fixed a fault", fault, by=by, at=received_at)
    if made and back_in_order(fault, at):
        stands = fault.machine.placements.filter(started_at__lte=at).filter(Q(ended_at=None) | Q(ended_at__gt=at))
        status, note = (Status.PLACED if stands.exists() else Status.SPARE), f"Fixed: {fault.text}"[:200]
        facts = {"by": by, "at": at, "received_at": received_at, "source": source}
        change_status(machine=fault.machine, status=status, note=note, **facts)
    return fix
