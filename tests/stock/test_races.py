"""Several people write facts about one prize at the same moment: all of them count, whoever was quicker."""

import threading
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection, transaction
from django.urls import reverse

from routeapp.kit.errors import Refused
from routeapp.kit.money import half_up
from routeapp.stock import actions, queries
from routeapp.stock.actions_goods import add_place
from routeapp.stock.actions_papers import Delivered, begin_with
from routeapp.stock.models import StockCount, StockMove
from tests import factories
from tests.cash.test_races import all_at_once
from tests.visits.books import START, make_world, stock_balances

pytestmark = pytest.mark.django_db(transaction=True)


def test_deliveries_of_one_prize_to_four_stores_at_once_all_count(owner, noon):
    bear = factories.PrizeFactory(name="Bear")
    stores = [add_place(kind="store", name=f"Store {number}", by=owner, at=noon) for number in range(4)]
    line = {"line-TOTAL_FORMS": 1, "line-INITIAL_FORMS": 0, "line-0-prize": bear.pk, "line-0-pieces": 10}
    sent = [
        {"uuid": uuid4(), "at": f"2026-03-0{day}T10:00", "to_place": store.pk, **line, "line-0-cost_cents": f"{day}.00"}
        for day, store in enumerate(stores, 1)
    ]

    codes = all_at_once(owner, [(reverse("delivery-add"), data) for data in sent])

    pool = queries.unit_costs()[bear.pk]
    assert (codes, pool.quantity, half_up(pool.unit_cost() * 40)) == ([302] * 4, 40, 10_00)


def test_what_was_inside_from_the_start_told_by_two_at_once_is_taken_once(owner, noon):
    machine, facts = factories.MachineFactory(code="C-7"), {"by": owner, "at": noon, "received_at": noon}
    place, said, refused = actions.cabinet_place(machine), [Delivered(factories.PrizeFactory(), 60, 150_00)], []

    def tell():
        try:
            begin_with(uuid=uuid4(), machine=machine, supplier="", lines=said, **facts)
        except Refused as problem:
            refused.append(str(problem))
        connection.close()

    meanwhile = threading.Thread(target=tell)
    with transaction.atomic():
        begin_with(uuid=uuid4(), machine=machine, supplier="", lines=said, **facts)
        meanwhile.start()
        while somebody_could_wait() and meanwhile.is_alive() and not somebody_waits():
            pass
    meanwhile.join()

    assert refused == ["What was in Cabinet C-7 from the start is written down already. Withdraw that first."]
    assert list(queries.contents([place.pk])[place.pk].values()) == [60]


def test_correcting_what_was_loaded_does_not_wait_for_a_visit_that_waits_for_it(owner):
    world = make_world(owner)
    (robot, owl), (first, second) = world.prizes, (actions.cabinet_place(one.machine) for one in world.meters)
    facts = {"by": owner, "at": START + timedelta(days=2)}
    wrong, corrected = uuid4(), threading.Event()

    def load(prize, place, source):
        return StockMove(prize=prize, quantity=1, from_place=world.store, to_place=place, at=facts["at"], source=source)

    def visit():
        corrected.wait(30)
        count = StockCount(prize=owl, place=second, quantity=0, at=facts["at"], source=uuid4())
        actions.record(counts=[count], moves=[load(robot, second, uuid4())], **facts)
        connection.close()

    actions.record(moves=[load(owl, first, wrong)], **facts)
    meanwhile = threading.Thread(target=visit)
    meanwhile.start()
    with transaction.atomic():
        actions.take_back(sources=[wrong], **facts)
        corrected.set()
        while somebody_could_wait() and not somebody_waits():
            pass
        actions.record(moves=[load(owl, first, uuid4()), load(robot, first, uuid4())], **facts)
    meanwhile.join()

    assert [stock_balances()["Store", prize.name] for prize in world.prizes] == [998, 999]


def somebody_could_wait():
    return connection.vendor == "postgresql"  # SQLite lets a whole transaction go before the next


def somebody_waits():
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
        return cursor.fetchone()[0] > 0
