"""Which prizes run out before more can come, as Today tells it: kept for an hour, as it is worked out from weeks."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.cache import caches

from machines.faults.models import Fault
from routeapp.cash.models import Bag
from routeapp.kit import audit
from routeapp.planning.models_due import PrizeOrder, SupplierTerms
from routeapp.planning.queries_order import lines
from routeapp.planning.queries_outlook import NO_FORECAST
from routeapp.visits.models import Visit

KEY = "planning-running-out"
KEPT = timedelta(hours=1)
# What can be written about these meanwhile. A single visit tells little of what is won in weeks.
CHANGES_LITTLE = {*NO_FORECAST, Visit, Bag, Fault} - {PrizeOrder, SupplierTerms}


@dataclass(frozen=True)
class _Kept:
    at: datetime
    log: frozenset[int]
    names: list[str]


def running_out(now: datetime) -> list[str]:
    """By name, what lasts shortest first: not older than an hour, nor than what was ordered, delivered or counted."""
    kept, log = caches["forecasts"].get(KEY), audit.latest()  # first: what is read later may only be newer
    if kept is None or not timedelta() <= now - kept.at < KEPT or audit.concerned(kept.log, {}, CHANGES_LITTLE) is None:
        late = [line for line in lines(now) if line.advice.urgent]
        late.sort(key=lambda line: line.advice.lasts or 0)
        kept = _Kept(now, log, [line.prize.name for line in late])
        caches["forecasts"].set(KEY, kept, round(KEPT.total_seconds()))
    return kept.names
