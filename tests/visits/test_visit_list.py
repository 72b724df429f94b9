"""The list of all visits: what it says, in which order, and how often it asks."""

import pytest
from django.urls import reverse

from tests.machines.counting import queries_of
from tests.visits.books import document, entry, make_world, record, some_id

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


def visited(world, name, days, cents):
    record(world, document(world, name, days=days, entries=[entry(world, name, cents=cents)]))


def shown(client, **asked):
    rows = client.get(reverse("visits"), asked).context["table"].cells()
    return [[cell.value for cell in cells[3:]] for _, cells in rows]


def test_visits_stand_latest_first_with_what_was_counted(owner_client, world):
    visited(world, "a", 0, 4000)
    visited(world, "b", 1, 2500)
    amends = {"replaces": some_id("a"), "reason": "Miscounted", "note": "Counted twice"}
    record(world, document(world, "c", entries=[entry(world, "c", cents=4100)], **amends))
    assert sorted(shown(owner_client, sort="-counted")) == sorted(
        [
            [1, 4100, None, "a correction", "Counted twice"],
            [1, 4000, None, "withdrawn", ""],
            [1, 2500, None, "", ""],
        ]
    )
    assert shown(owner_client)[0] == [1, 2500, None, "", ""]
    assert shown(owner_client, q="twice") == [[1, 4100, None, "a correction", "Counted twice"]]


def test_list_asks_no_more_for_three_visits_than_for_one(owner_client, world):
    visited(world, "a", 0, 4000)
    one = queries_of(owner_client, reverse("visits"))
    visited(world, "b", 1, 2500)
    visited(world, "c", 2, 2500)
    assert queries_of(owner_client, reverse("visits")) == one
