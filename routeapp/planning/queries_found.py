"""What was found at the stops of a round beside what was expected when it was planned."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from routeapp.planning.queries_rounds import RoundShown
from routeapp.stock.models import StockCount
from routeapp.visits.models import CashTaken, ServiceEntry


@dataclass(frozen=True)
class Found:
    """One cabinet: prizes and cash as expected and as found; None where nobody expected or counted."""

    code: str
    expected: int | None
    prizes: int | None
    expected_cents: int | None
    cents: int | None


def find(shown: RoundShown) -> None:
    """Tell each stop what its cabinets were expected to hold and, once visited, held."""
    entries = {
        (entry.visit_id, entry.machine_id): entry
        for entry in ServiceEntry.objects.filter(visit__in=[one.visit.pk for one in shown.stops if one.visit])
    }
    counted: dict[Any, int] = {}
    counts = StockCount.objects.live().filter(source__in=[entry.pk for entry in entries.values()])
    for source, pieces in counts.values_list("source", "quantity"):
        counted[source] = counted.get(source, 0) + pieces
    for one in shown.stops:
        one.cabinets = [
            _found(each, entries.get((one.visit.pk, int(pk))) if one.visit else None, counted)
            for pk, each in one.stop.expected.items()
        ]


def _found(expected: Mapping[str, Any], entry: ServiceEntry | None, counted: Mapping[Any, int]) -> Found:
    taken = entry.cents if entry and entry.cash == CashTaken.COUNTED else None
    prizes = counted.get(entry.pk) if entry else None
    return Found(expected.get("code", ""), expected.get("prizes"), prizes, expected.get("cents"), taken)
