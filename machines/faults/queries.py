"""Which faults are open, which were fixed, and how long each lasted."""

from datetime import datetime

from django.db.models import Exists, Max, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce, NullIf

from machines.cabinets.models import Machine, Status
from machines.cabinets.queries import status_at
from machines.faults.models import Fault, FaultFix


def open_faults(machine: Machine | None = None) -> QuerySet:
    """Those nobody has fixed: first what stops play, then the oldest."""
    fixed = FaultFix.objects.live().filter(fault=OuterRef("pk"))  # most are, and that is quicker to see
    return _live(machine).exclude(Exists(fixed)).exclude(Exists(_fixes())).order_by("-stops_play", "at", "pk")


def worst_faults(most: int) -> list[Fault]:
    """The first of all that are open. Which ones is asked without their cabinets: joined with those, SQLite goes
    through all history cabinet by cabinet, which takes it four times as long."""
    keys = list(open_faults().values_list("pk", flat=True)[:most])
    found = _live().in_bulk(keys)
    return [found[pk] for pk in keys]


def fixed_faults(machine: Machine | None = None) -> QuerySet:
    """Those that were fixed, the latest fix first."""
    return faults(machine).filter(fixed_at__isnull=False).order_by("-fixed_at", "-pk")


def faults(machine: Machine | None = None) -> QuerySet:
    """All, each with the first fix that holds: `fixed_at`, `fixed_how` and `fixed_by` (a name), or None."""
    name = Coalesce(NullIf("by__first_name", Value("")), "by__username")
    first = {"fixed_at": "at", "fixed_how": "how", "fixed_by": name}
    fix = _fixes().order_by("at", "pk")
    return _live(machine).annotate(**{key: Subquery(fix.values_list(column)[:1]) for key, column in first.items()})


def cabinets_stopped() -> int:
    """How many cabinets nobody can play because of an open fault."""
    return open_faults().filter(stops_play=True).order_by().values("machine").distinct().count()


def back_in_order(fault: Fault, at: datetime) -> bool:
    """Whether clearing this fault at a moment ends that its cabinet is out of order: nothing else known stops play.

    What was reported later does not count: a phone may be late, and a visit corrected afterwards."""
    if not fault.stops_play or status_at(fault.machine, at) != Status.OUT_OF_ORDER:
        return False
    return not open_faults(fault.machine).filter(stops_play=True, at__lte=at).exclude(uuid=fault.uuid).exists()


def _live(machine: Machine | None = None) -> QuerySet:
    faults = Fault.objects.live().select_related("machine__model", "by")
    return faults if machine is None else faults.filter(machine=machine)


def _fixes() -> QuerySet:
    """What fixed a fault: a corrected report keeps its uuid, so a fix of the report before it holds as well."""
    return FaultFix.objects.live().filter(fault__uuid=OuterRef("uuid"))


def newest_fault() -> int:
    """The number of the newest report, 0 without any."""
    return Fault.objects.aggregate(newest=Max("pk"))["newest"] or 0
