"""What lies in the store goes to whoever sets out first: one load list reckons with what other rounds will take."""

import re
from datetime import time, timedelta
from uuid import UUID

import pytest
from django.urls import reverse

from routeapp.models import Shift
from routeapp.planning.actions_rounds import drop_round
from routeapp.planning.queries_load import load_list
from routeapp.planning.queries_rounds import one as round_shown
from routeapp.planning.rules_pick import left, picks
from routeapp.stock import actions as stock
from tests.planning.cast import DAY, MONDAY, a_round, visited

pytestmark = pytest.mark.django_db


@pytest.fixture
def rounds(route):
    """Of 1,000 owls in the store 230 are left. The hand sets out at eight for three places, the owner at ten for one;
    60 fit into the one cabinet of each."""
    Shift.objects.filter(driver__person=route.owner).update(starts=time(10))
    route.owner.first_name = "Elke"
    route.hand.first_name = "Tobin"
    route.owner.save()
    route.hand.save()
    keep(route, 230)
    return a_round(route), a_round(route, route.places[3:4], person=route.owner, number=2)


def keep(route, pieces, prize=0):
    gone = stock.beyond(stock.PlaceKind.SHRINKAGE)
    who = {"by": route.owner, "at": MONDAY - timedelta(days=2), "received_at": MONDAY}
    stock.move(prize=route.prizes[prize], quantity=1000 - pieces, from_place=route.store, to_place=gone, **who)


def owls(route, one):
    """Pieces, what is said of them, and what is missing."""
    line = load_list(round_shown(route.owner, one.pk), MONDAY).prizes[0]
    return line.pieces, line.detail, line.warning


def test_second_round_gets_what_the_first_leaves(route, rounds):
    first, second = rounds
    assert owls(route, first) == (180, "from Store", "")
    assert owls(route, second) == (
        50, "from Store, 180 of 230 in store are for Tobin's round", "10 short: take 10 Tin robot instead"
    )  # fmt: skip


def test_page_says_who_takes_first(route, rounds, owner_client, monday):
    said = [
        re.findall(r"Whoever sets out first.*?</p>", owner_client.get(reverse("round-load", args=[one.pk])).text)
        for one in rounds
    ]
    assert said == [
        [],
        ["Whoever sets out first takes first from the store. Before this round: Tobin, Mon 1 Jun 08:53.</p>"],
    ]


def test_round_of_the_day_before_takes_first_and_one_dropped_takes_nothing(route, rounds):
    first, second = rounds
    third = a_round(route, route.places[4:], day=DAY + timedelta(days=1), number=3)
    nothing = "180 of 230 in store are for the round of Mon 1 Jun, 50 for Elke's round of Mon 1 Jun"
    assert owls(route, third) == (0, nothing, "60 short: take 60 Tin robot instead")

    drop_round(round=first, because="Rain", by=route.owner, at=MONDAY)
    assert owls(route, second) == (60, "from Store", "")
    assert owls(route, third) == (60, "from Store, 60 of 230 in store are for Elke's round of Mon 1 Jun", "")


def put_in(route, one, client):
    form = {"uuid": str(UUID(int=9)), "line": f"prize-{route.prizes[0].pk}", "pieces": "180", "on": "on"}
    client.post(reverse("round-tick", args=[one.pk]), form | {"from_place": route.store.pk})


def test_what_was_put_into_a_van_is_not_counted_twice(route, rounds, hand_client, monday):
    first, second = rounds
    put_in(route, first, hand_client)
    assert owls(route, second) == (50, "from Store", "10 short: take 10 Tin robot instead")


def test_list_stays_as_long_while_it_is_put_into_the_van_and_on_the_road(route, rounds, hand_client, monday):
    first, _ = rounds
    keep(route, 180, prize=1)  # 410 pieces for the 360 that are wanted
    put_in(route, first, hand_client)
    assert owls(route, first) == (180, "of 180 wanted", "")

    visited(route, route.places[0], MONDAY + timedelta(hours=2), number=90)
    assert owls(route, first) == (180, "of 120 wanted", "")


def test_round_on_the_road_takes_nothing_more(route, rounds):
    visited(route, route.places[0], MONDAY + timedelta(hours=2), number=90)
    assert owls(route, rounds[1]) == (60, "from Store", "")


def test_what_is_taken_instead_is_gone_for_the_next():
    stores = {7: {1: 5, 2: 50}, 8: {2: 20}}
    made = picks({1: 15, 2: 4}, {2: 6}, stores, {1: [2], 2: []})
    assert left(stores, {2: 6}, {1: 15, 2: 4}, made) == {7: {1: 0, 2: 42}, 8: {2: 20}}  # 2 of 10 were in the van


def test_what_lies_in_the_van_goes_to_the_earlier_round_of_the_same_person(route, rounds):
    stock.move(
        prize=route.prizes[0], quantity=200, from_place=route.store, to_place=route.van, by=route.owner, at=MONDAY,
        received_at=MONDAY,
    )  # fmt: skip
    first, _ = rounds
    third = a_round(route, route.places[3:], day=DAY + timedelta(days=1), number=3)
    drop_round(round=rounds[1], because="Rain", by=route.owner, at=MONDAY)
    assert owls(route, first) == (0, "180 in the van already", "")
    assert owls(route, third) == (
        30, "from Store, 20 in the van already, 180 more in the van are for the round of Mon 1 Jun",
        "70 short: take 70 Tin robot instead",
    )  # fmt: skip

    visited(route, route.places[0], MONDAY + timedelta(hours=2), number=90)
    assert (
        owls(route, third)[1] == "from Store, 80 in the van already, 120 more in the van are for the round of Mon 1 Jun"
    )
