"""Writing down how a cabinet is depreciated."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from machines.cabinets.models import Machine
from machines.depreciation.models import DepreciationChoice
from machines.depreciation.rules import Method
from machines.depreciation.rules_tables import FIRST_DAY
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same


@transaction.atomic
def choose_depreciation(
    *,
    uuid: UUID,
    machine: Machine,
    in_service_on: date,
    cost_cents: int | None = None,
    method: str = Method.STRAIGHT,
    life_years: int = 5,
    worth_after_cents: int = 0,
    class_years: int | None = None,
    convention: str = "test",
    section_179_cents: int = 0,
    bonus_bp: int = 0,
    decided_with: str = "",
    by: Any,
    at: datetime,
) -> DepreciationChoice:
    """Write down a choice in place of the one before. The same `uuid` again changes nothing.

    Refuses percentages without a class, a day before the tables, and amounts above the cost.
    """
    said = {
        "machine": machine,
        "in_service_on": in_service_on,
        "cost_cents": cost_cents,
        "method": method,
        "life_years": life_years,
        "worth_after_cents": worth_after_cents,
        "class_years": class_years,
        "convention": convention,
        "section_179_cents": section_179_cents,
        "bonus_bp": bonus_bp,
        "decided_with": decided_with,
    }
    lock("depreciation", uuid)
    if known := DepreciationChoice.objects.filter(uuid=uuid).first():
        return same(known, **said)
    Machine.objects.select_for_update().get(pk=machine.pk)
    cost = _landed(machine) if cost_cents is None else cost_cents
    if method == Method.TABLE and class_years is None:
        raise Refused("The percentages are by class. Choose one with your accountant, or equal parts.", "class_years")
    if class_years and in_service_on < FIRST_DAY:
        raise Refused(f"The tables start with {FIRST_DAY:%-d %B %Y}.", "in_service_on")
    if cost is None:
        raise Refused("No order says what it cost. Write down the cost.", "cost_cents")
    if worth_after_cents > cost:
        raise Refused("Afterwards it cannot be worth more than it cost.", "worth_after_cents")
    if section_179_cents > cost:
        raise Refused("That is more than it cost.", "section_179_cents")
    DepreciationChoice.objects.live().filter(machine=machine).update(withdrawn_at=at, withdrawn_by=by)
    made = DepreciationChoice.objects.create(uuid=uuid, **said, by=by, at=at, received_at=at)
    audit.record("chose the depreciation of", machine, by=by, at=at)
    return made


def _landed(machine: Machine) -> int | None:
    bought = Machine.objects.filter(pk=machine.pk).values_list("bought__cost_cents", flat=True)
    return bought[0]
