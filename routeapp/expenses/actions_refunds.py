"""Players who get their money back, or an answer why not."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from locations.placements.queries import placement_of
from locations.sites.models import Location
from machines.cabinets.models import Machine
from machines.faults.actions import fix_fault
from machines.faults.models import Fault
from routeapp.cash.models import Bag, Purse
from routeapp.expenses.actions import pay, put_back
from routeapp.expenses.models import Payer, Refund
from routeapp.kit import audit, clock
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same

CLOSED = {False: "The player got the money back.", True: "The player was told why there is no refund."}


@transaction.atomic
def refund(
    *,
    uuid: UUID,
    cents: int,
    paid_from: str,
    zone: str,
    fault: Fault | None = None,
    bag: Bag | None = None,
    machine: Machine | None = None,
    location: Location | None = None,
    note: str = "",
    close: bool = False,
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Refund:
    """Note what a player got back, or with no `cents` why not. The same form again changes nothing.

    The location is where the cabinet stood at that moment, if nobody says. `close` also closes the report. Refuses a
    second decision on one report, a host without a location, and more than a bag holds.
    """
    lock("refund", uuid, fault.uuid if fault else uuid)
    machine = fault.machine if fault else machine
    if made := Refund.objects.filter(uuid=uuid).first():
        return same(made, cents=cents, paid_from=paid_from, machine=machine, bag=bag, note=note)
    if fault and Refund.objects.live().filter(report=fault.uuid).exists():
        raise Refused("Somebody decided on this report meanwhile. Withdraw that first.")
    stay = placement_of(machine, fault.at if fault else at) if machine and not location else None
    location = stay.location if stay else location
    if paid_from == Payer.HOST and location is None:
        raise Refused("Say which location's host paid it out.", "location")
    where = {"machine": machine, "location": location, "bag": bag}
    if cents and paid_from != Payer.CARDS:
        day = clock.local_day(at, location.time_zone if location else zone)
        facts: dict[str, Any] = {"cents": cents, "day": day, "source": uuid, "reason": note[:200], **where}
        pay(purse=paid_from, to=Purse.REFUNDS, by=by, at=at, received_at=received_at, **facts)
    said = {"report": fault.uuid if fault else None, "refused": not cents, "note": note, **where}
    made = Refund.objects.create(
        uuid=uuid, cents=cents, paid_from=paid_from, source=uuid, by=by, at=at, received_at=received_at, **said
    )
    if fault and close:
        fix_fault(fault=fault, how=CLOSED[not cents], by=by, at=at, received_at=received_at)
    audit.record("noted the" if cents else "refused the", made, by=by, at=received_at)
    return made


@transaction.atomic
def withdraw_refund(*, refund: Refund, by: Any, at: datetime) -> None:
    """Take back a refund written down by mistake; its money is where it was. Withdrawn twice it is withdrawn once.
    Refuses one out of a bag that is at the bank."""
    if Refund.objects.live().filter(pk=refund.pk).update(withdrawn_at=at, withdrawn_by=by):
        put_back(source=refund.uuid, bag=refund.bag, by=by, at=at)
        audit.record("withdrew the", refund, by=by, at=at)
