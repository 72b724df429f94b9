"""Which faults are open, which were fixed, and how long each lasted."""

from django.db.models import OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce, NullIf

from machines.cabinets.models import Machine
from machines.faults.models import Fault, FaultFix


def faults(machine: Machine | None = None) -> QuerySet:
    """Live faults, each with its first live fix: `fixed_at`, `fixed_how`, `fixed_by` (a name)."""
    fix = FaultFix.objects.live().filter(fault__uuid=OuterRef("uuid")).order_by("at", "pk")
    name = Coalesce(NullIf("by__first_name", Value("")), "by__username")
    first = {"fixed_at": "at", "fixed_how": "how", "fixed_by": name}
    found = Fault.objects.live().select_related("machine__model", "by")
    found = found.annotate(**{key: Subquery(fix.values_list(column)[:1]) for key, column in first.items()})
    return found if machine is None else found.filter(machine=machine)


def open_faults(machine: Machine | None = None) -> QuerySet:
    """Those nobody has fixed: first what stops play, then the oldest."""
    return faults(machine).filter(fixed_at=None).order_by("-stops_play", "at", "pk")


def fixed_faults(machine: Machine | None = None) -> QuerySet:
    """Those that were fixed, the latest fix first."""
    return faults(machine).filter(fixed_at__isnull=False).order_by("-fixed_at", "-pk")


def cabinets_stopped() -> int:
    """How many cabinets nobody can play because of an open fault."""
    return open_faults().filter(stops_play=True).order_by().values("machine").distinct().count()
