"""What each location needs of a planner: why to come, by when, what to bring, and what a visit is worth."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import numpy as np

from locations.placements.models import Placement
from locations.placements.queries import standing
from machines.faults.queries import open_faults
from routeapp.kit import clock
from routeapp.planning import rules_value
from routeapp.planning.queries_due import due, losses
from routeapp.planning.queries_forecast import AHEAD, Forecast, Outlook
from routeapp.planning.rules_service import Work


@dataclass(frozen=True)
class Need:
    """`expected` is by cabinet id: its code, prizes left and cents in the box `on` a day, and how both go on a day."""

    reasons: Sequence[str] = ()
    by: date | None = None  # the last good day
    work: Work = Work(0)
    bring: int = 0  # prizes
    on: date | None = None
    expected: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)

    def expected_on(self, day: date) -> dict[str, dict[str, Any]]:
        """What each cabinet should hold on a later day, as it is kept with a stop."""
        days = max(0, (day - (self.on or day)).days)
        return {str(pk): _later(each, days) for pk, each in self.expected.items()}


def _later(each: Mapping[str, Any], days: int) -> dict[str, Any]:
    prizes, won = each.get("prizes"), each.get("prizes_a_day", 0)
    played = days if not won or prizes is None else min(days, prizes / won)
    told = {"code": each["code"], "cents": round(each["cents"] + played * each.get("cents_a_day", 0))}
    return told if prizes is None else {**told, "prizes": max(0, round(prizes - days * won))}


def needs(seen: Outlook, location_ids: Collection[int], now: datetime, zone: str) -> dict[int, Need]:
    """By location id, of those where cabinets stand, in constant queries."""
    waiting = {one.location.pk: one for one in due(now, seen)}
    forecasts, cabinets = seen.forecasts, standing_at(location_ids)
    faults = _faults([one.machine_id for each in cabinets.values() for one in each])
    today, found = clock.local_day(now, zone), {}
    for location, placements in cabinets.items():
        why, pks = waiting.get(location), [one.machine_id for one in placements]
        known = [forecasts[pk] for pk in pks if pk in forecasts]
        found[location] = Need(
            reasons=[reason.words for reason in why.reasons] if why else [],
            by=why.by if why else None,
            work=Work(len(pks), len(pks), sum(faults[pk] for pk in pks)),
            bring=sum(max(0, (one.capacity or 0) - (one.left or 0)) for one in known),
            on=today,
            expected={one.placement.machine_id: _expected(one) for one in known},
        )
    return found


def standing_at(location_ids: Iterable[Any]) -> dict[int, list[Placement]]:
    found: dict[int, list[Placement]] = defaultdict(list)
    rows = standing().filter(location__in=location_ids).select_related("machine__model").order_by("machine__code")
    for placement in rows:
        found[placement.location_id].append(placement)
    return found


def _faults(machine_ids: Collection[int]) -> dict[int, int]:
    """How many faults are open, by machine id."""
    found: dict[int, int] = defaultdict(int)
    for machine in open_faults().filter(machine__in=machine_ids).values_list("machine", flat=True):
        found[machine] += 1
    return found


def _expected(one: Forecast) -> dict[str, Any]:
    machine = one.placement.machine
    return {
        "code": machine.code,
        "prizes": one.left,
        "prizes_a_day": round(one.prizes_a_day, 3),
        "cents": one.box_cents,
        "cents_a_day": round(one.plays_a_day * machine.price_cents),
    }


def worth(
    seen: Outlook, bears: Mapping[int, Sequence[float]], days: Sequence[date], now: datetime, zone: str
) -> dict[int, dict[date, int]]:
    """Cents that a visit on each day is worth against the chances after the last of them, by location id; `bears`
    is what a visit may cost there in a week, each alike. A location without a forecast is worth nothing."""
    lost = losses(seen)
    rows = [row for row, pk in enumerate(lost.ids) if pk in bears]
    if not rows or not days:
        return {}
    today = clock.local_day(now, zone)
    gone = [min(AHEAD - 1, max(0, (day - today).days)) for day in days]
    costs = np.array([bears[lost.ids[row]] for row in rows])
    cents = rules_value.Outlook(lost.now[rows], lost.fresh[rows]).worth(costs, gone, gone[-1] + 1)
    return {
        lost.ids[row]: dict(zip(days, (round(float(one)) for one in line), strict=True))
        for row, line in zip(rows, cents, strict=True)
    }
