"""A button pressed many times at once is one press, and two people who fix the last faults at once see each other."""

import threading

import pytest
from django.db import connection, transaction
from django.test import Client

from machines.cabinets.actions import change_status
from machines.faults.actions import fix_fault
from machines.models import Fault, FaultFix
from tests import factories
from tests.stock.test_races import somebody_could_wait, somebody_waits


@pytest.mark.django_db(transaction=True)
def test_one_fix_sent_six_times_at_once_is_one(owner):
    who = {"by": owner, "at": factories.LONG_AGO, "received_at": factories.LONG_AGO}
    fault = Fault.objects.create(
        machine=factories.MachineFactory(), uuid="00000000-0000-0000-0000-000000000001", text="Jam", via="call", **who
    )
    codes, gate = [], threading.Barrier(6)

    def press(client):
        gate.wait(30)
        codes.append(client.post(f"/faults/{fault.pk}/fix/", {"how": "Cleared the chute", "at": ""}).status_code)
        connection.close()

    clients = [Client(raise_request_exception=False) for _ in range(6)]
    for client in clients:
        client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    threads = [threading.Thread(target=press, args=(client,)) for client in clients]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert (codes, FaultFix.objects.count()) == ([302] * 6, 1)


@pytest.mark.django_db(transaction=True)
def test_last_two_faults_that_stop_play_fixed_at_once_lift_it(owner):
    machine, who = (
        factories.MachineFactory(),
        {"by": owner, "at": factories.LONG_AGO, "received_at": factories.LONG_AGO},
    )
    change_status(machine=machine, status="out_of_order", **who)
    first, second = (
        Fault.objects.create(machine=machine, uuid=f"{n:032}", text="Jam", via="call", stops_play=True, **who)
        for n in range(2)
    )

    def fix_the_other():
        fix_fault(fault=second, how="Cleared", **who)
        connection.close()

    meanwhile = threading.Thread(target=fix_the_other)
    with transaction.atomic():
        fix_fault(fault=first, how="Cleared", **who)
        meanwhile.start()
        while somebody_could_wait() and meanwhile.is_alive() and not somebody_waits():
            pass
    meanwhile.join()

    machine.refresh_from_db()
    assert machine.status == "spare"
