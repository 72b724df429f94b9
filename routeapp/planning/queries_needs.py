"""What each location needs of a planner: what a visit gains by day, why, what is to be done and brought there."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from locations.placements.queries import standing
from machines.faults.queries import open_faults
from routeapp.planning.rules_service import Work
from routeapp.stock.queries import fills


@dataclass(frozen=True)
class Need:
    """`expected` is by cabinet id: its code, prizes probably left and cash probably in the box on the first day."""

    value: Mapping[date, int]
    reasons: Sequence[str] = ()
    work: Work = Work(0)
    bring: int = 0  # prizes
    expected: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)


def needs(location_ids: Collection[int], days: Sequence[date], now: datetime) -> dict[int, Need]:
    """The need of each location where cabinets stand, by its id, in constant queries."""
    cabinets: dict[int, list[Any]] = defaultdict(list)
    for placement in standing().filter(location__in=location_ids).select_related("machine__model"):
        cabinets[placement.location_id].append(placement.machine)
    machines = [one.pk for each in cabinets.values() for one in each]
    held = fills(machines)
    faults: dict[int, int] = defaultdict(int)
    for fault in open_faults().filter(machine__in=machines):
        faults[fault.machine_id] += 1
    return {
        location: Need(
            value={day: 2500 + 100 * number for number, day in enumerate(days)},
            reasons=[f"{len(each)} cabinets"],
            work=Work(len(each), len(each), sum(faults[one.pk] for one in each)),
            bring=sum(max(0, (one.model.prize_capacity or 0) - held.get(one.pk, 0)) for one in each),
            expected={one.pk: {"code": one.code, "prizes": held.get(one.pk, 0)} for one in each},
        )
        for location, each in cabinets.items()
    }
