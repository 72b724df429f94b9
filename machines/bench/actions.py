"""Writing down a bench test, and letting a cabinet go without one."""

from dataclasses import astuple
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from machines.bench.models import BenchCheck, BenchCoin, BenchTest, LetGo
from machines.bench.queries import BEFORE
from machines.bench.rules import Shown, still_wrong
from machines.cabinets.actions import change_status
from machines.cabinets.models import GONE, Machine, Status
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import refuse_another, same

FALLS_BACK = (Status.ORDERED, Status.ARRIVED, Status.READY, Status.SPARE)


@transaction.atomic
def record_test(
    *,
    uuid: UUID,
    machine: Machine,
    starts: str,
    shown: Shown,
    wins: int = 0,
    watts: int | None = None,
    note: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
) -> BenchTest:
    """Write down a test. A cabinet that passed is ready; one that did not is on the bench, unless it is placed.

    The same `uuid` again changes nothing. Refuses a cabinet that was sold or scrapped.
    """
    said = {"machine": machine, "starts": starts, "watts": watts, "plays": shown.plays, "wins": wins, "note": note}
    said |= {"reader": shown.reader, "pulses_sent": shown.pulses_sent, "pulses_counted": shown.pulses_counted}
    said |= {"labelled": shown.labelled, "passed": not still_wrong(shown)}
    lock("bench", uuid)
    if known := BenchTest.objects.filter(uuid=uuid).first():
        refuse_another(dict(known.checks.values_list("what", "result")), shown.checks)
        coins = sorted(known.coins.values_list("cents", "tried", "taken"))
        refuse_another(coins, sorted(map(astuple, shown.coins)))
        return same(known, **said)
    machine = _ours(machine)
    facts = {"by": by, "at": at, "received_at": received_at}
    test = BenchTest.objects.create(uuid=uuid, **said, **facts)
    BenchCheck.objects.bulk_create(BenchCheck(test=test, what=what, result=one) for what, one in shown.checks.items())
    BenchCoin.objects.bulk_create(BenchCoin(test=test, **vars(coin)) for coin in shown.coins)
    if test.passed and machine.status in BEFORE:
        change_status(machine=machine, status=Status.READY, note="passed its bench test", source=uuid, **facts)
    elif not test.passed and machine.status in FALLS_BACK:
        change_status(machine=machine, status=Status.BENCH, note="did not pass its test", source=uuid, **facts)
    audit.record("passed the bench test" if test.passed else "did not pass the bench test", machine, by=by, at=at)
    return test


@transaction.atomic
def let_go(*, uuid: UUID, machine: Machine, reason: str, by: Any, at: datetime) -> LetGo:
    """Sign why a cabinet may be placed without having passed; it is ready then. The same `uuid` again is one."""
    lock("bench", uuid)
    if known := LetGo.objects.filter(uuid=uuid).first():
        return same(known, machine=machine, reason=reason)
    machine = _ours(machine)
    if not reason.strip():
        raise Refused("Say why it goes out without a passed test.", "reason")
    facts = {"by": by, "at": at, "received_at": at}
    made = LetGo.objects.create(uuid=uuid, machine=machine, reason=reason, **facts)
    if machine.status in BEFORE:
        note = f"without a passed bench test: {reason}"[:200]
        change_status(machine=machine, status=Status.READY, note=note, source=uuid, **facts)
    audit.record("let go without a passed bench test", machine, by=by, at=at)
    return made


def _ours(machine: Machine) -> Machine:
    machine = Machine.objects.select_for_update().get(pk=machine.pk)
    if machine.status in GONE:
        raise Refused(f"{machine} is {machine.get_status_display().lower()}. Change its status first.")
    return machine
