"""Several people at one bag at the same moment: money is banked once and reversed once."""

import json
import threading
from uuid import uuid4

import pytest
from django.test import Client

from routeapp.cash import queries
from routeapp.models import Bag, CashMove
from tests.visits.books import document, entry, make_world, purse_balances, some_id

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bag(owner, owner_client):
    world = make_world(owner)
    raw = document(world, "a", entries=[entry(world, "a", reading=150, cents=400)])
    owner_client.post("/sync/visits/", {"document": json.dumps(raw)})
    bag = Bag.objects.get(uuid=some_id("bag a"))
    bag.world, bag.visit = world, raw
    return bag


def all_at_once(owner, requests):
    """The status of each of these POSTs, (address, data), sent by as many threads at once."""
    codes, gate = [], threading.Barrier(len(requests))

    def send(client, address, data):
        from django.db import connection

        gate.wait(30)
        codes.append(client.post(address, data).status_code)
        connection.close()

    clients = [Client(raise_request_exception=False) for _ in requests]
    for client in clients:
        client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    threads = [threading.Thread(target=send, args=(one, *what)) for one, what in zip(clients, requests, strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(codes)


def test_bag_taken_to_the_bank_by_four_at_once_is_banked_once(owner, bag):
    address = f"/earnings/cash/deposits/add/?bag={bag.pk}"
    codes = all_at_once(owner, [(address, {"uuid": uuid4()}) for _ in range(4)])

    assert set(codes) <= {302, 422}  # those who come later are told so, on one page or the other
    assert [move.cents for move in CashMove.objects.filter(to_purse="bank")] == [400]
    assert queries.bags().get(pk=bag.pk).holds == 0


def test_counts_and_a_correction_at_once_leave_the_newest_count(owner, bag):
    amends = {"replaces": bag.visit["id"], "reason": "wrong", "loose_bag": bag.visit["loose_bag"]}
    right = document(bag.world, "b", entries=[entry(bag.world, "b", reading=150, cents=300)], **amends)
    counts = [
        (
            f"/earnings/cash/bags/{bag.pk}/count/",
            {"uuid": str(uuid4()), "sum": f"{dollars}.00", "note": "counted twice"},
        )
        for dollars in (1, 2, 3, 5)
    ]

    codes = all_at_once(owner, [("/sync/visits/", {"document": json.dumps(right)}), *counts])

    assert codes == [201, 302, 302, 302, 302]
    newest = bag.counts.order_by("-at", "-uuid").first()
    assert queries.bags().get(pk=bag.pk).holds == newest.cents
    assert sum(purse_balances().values()) == 0
