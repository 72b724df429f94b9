"""Which cabinets have yet to pass the bench, and what was tried on it."""

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from machines.bench.models import BenchCoin, BenchTest, LetGo
from machines.bench.rules import usual_checks
from machines.cabinets.models import CabinetModel, Machine, Status, StatusChange, lines_of
from machines.cabinets.queries import NEWEST_FIRST

BEFORE = (Status.ORDERED, Status.ARRIVED, Status.BENCH)


def unproven() -> QuerySet:
    """Cabinets that came, or went back to the bench, and have not passed since.

    One that was placed after that is in service and needs no test; nor does one that never was under way or on the
    bench: it was added as working.
    """
    life = StatusChange.objects.live().filter(machine=OuterRef("pk"), status__in=(*BEFORE, Status.PLACED))
    newest = life.order_by(*NEWEST_FIRST)
    steps = {"proof_step": Subquery(newest.values("status")[:1]), "proof_since": Subquery(newest.values("at")[:1])}
    since = {"machine": OuterRef("pk"), "at__gte": OuterRef("proof_since")}
    passed = Exists(BenchTest.objects.live().filter(passed=True, **since))
    return (
        Machine.objects.annotate(**steps)
        .filter(proof_step__in=BEFORE)
        .exclude(passed | Exists(LetGo.objects.live().filter(**since)))
    )


def lacks_proof(machine: Machine) -> str:
    """Why a cabinet must not be placed yet, as a sentence; empty when nothing is in the way."""
    if not unproven().filter(pk=machine.pk).exists():
        return ""
    return f"{machine} has not passed its bench test. Test it, or sign on its bench page why it goes out without."


def checks_of(model: CabinetModel) -> list[str]:
    """What to try on the bench: the model's own list, or the usual one of its kind."""
    return lines_of(model.bench_checks) or usual_checks(model.kind)


def tests_of(machine: Machine) -> QuerySet:
    live = BenchTest.objects.live().filter(machine=machine)
    return live.select_related("by", "machine__model").prefetch_related("checks", "coins")


def let_go_of(machine: Machine) -> QuerySet:
    return LetGo.objects.live().filter(machine=machine).select_related("by")


def coins_tried_last(model: CabinetModel) -> list[int]:
    """The worths that were put in when a cabinet of this model was last tested."""
    newest = BenchCoin.objects.filter(test__machine__model=model).order_by("-test").values("test")[:1]
    return list(BenchCoin.objects.filter(test=newest).order_by("cents").values_list("cents", flat=True))
