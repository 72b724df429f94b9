"""What the cabinets of the story cost and how that is depreciated; for the newest ones nothing is decided yet."""

from datetime import date, datetime
from typing import Any
from uuid import uuid5

from machines.cabinets.models import GONE, Kind, Machine
from machines.depreciation.actions import choose_depreciation
from machines.depreciation.models import DepreciationChoice
from machines.depreciation.rules import Method
from routeapp.data.demo import names
from routeapp.data.demo.cast import Cast

PAID = {Kind.CLAW: 3_480_00, Kind.CAPSULE: 640_00, Kind.STICKER: 520_00, Kind.PUSHER: 5_950_00, Kind.OTHER: 1_400_00}
UNDECIDED = 3


def decide(cast: Cast, local: datetime) -> None:
    """All cabinets in service have a cost, each a little other; every third is depreciated by percentages."""
    machines = Machine.objects.exclude(status__in=GONE).filter(bought=None).select_related("model").order_by("code")
    for number, machine in enumerate(list(machines)[:-UNDECIDED]):
        first = machine.placements.order_by("started_at").values_list("started_at", flat=True).first()
        if first:
            _decide(cast, machine, number, first.astimezone(cast.zone).date(), cast.moment(local))


def _decide(cast: Cast, machine: Machine, number: int, since: date, at: datetime) -> DepreciationChoice:
    by_table: dict[str, Any] = {"method": Method.TABLE, "class_years": 7, "decided_with": "Maren Holt, accountant"}
    return choose_depreciation(
        uuid=uuid5(names.NAMES, f"depreciation {machine.code}"),
        machine=machine,
        in_service_on=since,
        cost_cents=PAID[Kind(machine.model.kind)] + 35_00 * (number % 7),
        worth_after_cents=0 if number % 3 == 0 else 150_00,
        by=cast.owner,
        at=at,
        **(by_table if number % 3 == 0 else {}),
    )
