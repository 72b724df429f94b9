"""A button pressed many times at once is one press."""

import threading

import pytest
from django.test import Client

from machines.models import Fault, FaultFix
from tests import factories


@pytest.mark.django_db(transaction=True)
def test_one_fix_sent_six_times_at_once_is_one(owner):
    who = {"by": owner, "at": factories.LONG_AGO, "received_at": factories.LONG_AGO}
    fault = Fault.objects.create(
        machine=factories.MachineFactory(), uuid="00000000-0000-0000-0000-000000000001", text="Jam", via="call", **who
    )
    codes, gate = [], threading.Barrier(6)

    def press(client):
        from django.db import connection

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
