"""What the database itself refuses to hold about money."""

from uuid import UUID

import pytest
from django.db import IntegrityError, transaction

from routeapp.cash.models import Bag, BagCount, BagMove, CashMove, Sealed
from tests.visits.books import START, some_id


@pytest.fixture
def facts(route_hand):
    return {"by": route_hand, "at": START, "received_at": START}


def refuses(constraint, make):
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        make()


@pytest.mark.parametrize(
    ("constraint", "changed"),
    [
        ("cash_move_above_zero", {"cents": 0}),
        ("cash_move_between_two_purses", {"from_purse": "bank", "to_purse": "bank"}),
        ("cash_move_box_names_its_machine", {"from_purse": "players", "to_purse": "box"}),
        ("cash_move_box_names_its_machine", {"from_purse": "box", "to_purse": "bank"}),
        ("cash_move_bag_is_named", {"from_purse": "over_short", "to_purse": "bag"}),
        ("cash_move_bag_is_named", {"from_purse": "bag", "to_purse": "bank"}),
        ("cash_move_host_names_the_location", {"from_purse": "players", "to_purse": "host"}),
        ("cash_move_host_names_the_location", {"from_purse": "host", "to_purse": "bank"}),
    ],
)
def test_move_of_money_makes_sense(facts, constraint, changed):
    said = {"from_purse": "players", "to_purse": "bank", "cents": 100, "day": START.date()}
    CashMove.objects.create(**facts, **said)
    refuses(constraint, lambda: CashMove.objects.create(**facts, **said | changed))


def test_move_of_money_is_reversed_once(facts):
    said = {"from_purse": "players", "to_purse": "bank", "cents": 100, "day": START.date()}
    move = CashMove.objects.create(**facts, **said)
    CashMove.objects.create(**facts, **said, reverses=move)
    refuses("reverses_id", lambda: CashMove.objects.create(**facts, **said, reverses=move))


@pytest.mark.parametrize("changed", [{"holder": "person", "person": None}, {"holder": "safe"}, {"holder": "bank"}])
def test_bag_is_with_a_named_person_or_with_none(loose, facts, route_hand, changed):
    said = {"bag": loose(100), "holder": "person", "person": route_hand}
    refuses("bag_with_person_names_the_person", lambda: BagMove.objects.create(**facts, **said | changed))


@pytest.mark.parametrize("model", [Bag, BagMove, BagCount, Sealed, CashMove])
def test_whoever_withdraws_signs_with_the_moment(loose, sealed, count, model):
    loose(100)
    count(sealed(100), 100)
    assert model.objects.exists()
    refuses("withdrawn_has_who_and_when", lambda: model.objects.update(withdrawn_at=START))


def test_two_bags_or_two_counts_never_share_an_id(loose, count, facts):
    bag = loose(100)
    count(bag, 100, uuid=UUID(some_id("count")))
    twin = {"bag": bag, "how": "amount", "cents": 1, "uuid": some_id("count")}
    refuses("uuid", lambda: Bag.objects.create(uuid=bag.uuid, number="L-2", location=bag.location, **facts))
    refuses("uuid", lambda: BagCount.objects.create(**twin, **facts))


def test_counts_and_estimates_are_not_below_zero(sealed, count):
    count(sealed(100), 100)
    refuses("cents", lambda: BagCount.objects.update(cents=-1))
    refuses("estimate_cents", lambda: Sealed.objects.update(estimate_cents=-1))
