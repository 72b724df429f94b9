"""Several deliveries of one prize at the same moment: each is in the average cost, whoever was quicker."""

from uuid import uuid4

import pytest
from django.urls import reverse

from routeapp.kit.money import half_up
from routeapp.stock import queries
from routeapp.stock.actions_goods import add_place
from tests import factories
from tests.cash.test_races import all_at_once

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
