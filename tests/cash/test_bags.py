"""Bags counted, handed over and banked: what follows for the books."""

from datetime import timedelta

import pytest

from routeapp.cash import actions, actions_deposits, queries, queries_bag
from routeapp.cash.models import BagMove, CashMove
from routeapp.kit.errors import Refused
from tests.visits import books
from tests.visits.books import purse_balances


def money_in(purse):
    return sum(cents for key, cents in purse_balances().items() if key[0] == purse)


def shares(bag):
    """What each cabinet has in a bag, by the order the cabinets came to be."""
    return [one.cents for one in sorted(queries_bag.contents(bag), key=lambda one: one.machine.pk)]


def test_loose_bag_holds_what_was_noted_until_it_is_counted(loose, count, again):
    bag = loose(4000, 6000)
    assert bag.holds == 10000
    count(bag, 9700)
    assert again(bag).holds == 9700
    assert money_in("over_short") == 300


def test_host_paid_out_of_the_bag_is_no_shortage(loose, count, again):
    bag = loose(4000, 6000, host_payment={"cents": 2500, "received_by": "Mika"})
    count(bag, 7500)
    assert again(bag).holds == 7500
    assert money_in("over_short") == 0


def test_newest_count_of_two_holds(loose, count, again, noon):
    bag = loose(10000)
    count(bag, 9700)
    count(bag, 10050, at=noon + timedelta(minutes=5))
    assert again(bag).holds == 10050
    assert money_in("over_short") == -50


def test_count_noted_late_gives_way_to_the_newer_one(loose, count, again, noon):
    bag = loose(10000)
    count(bag, 10000)
    count(bag, 9000, at=noon - timedelta(hours=3))
    assert again(bag).holds == 10000


def test_same_count_sent_twice_is_one(loose, count, noon):
    bag = loose(10000)
    first = count(bag, 9700, uuid=books.some_id("c"))
    assert count(bag, 9700, uuid=books.some_id("c"), at=noon + timedelta(seconds=2)) == first
    assert bag.counts.count() == 1
    assert CashMove.objects.filter(to_purse="over_short").count() == 1


def test_id_of_another_count_is_refused(loose, count):
    bag, other = loose(10000), loose(500, name="b", days=1)
    count(bag, 9700, uuid=books.some_id("c"))
    for case in ((bag, 9000), (other, 9700)):
        with pytest.raises(Refused, match=r"sent before and \$97.00 was kept"):
            count(*case, uuid=books.some_id("c"))
    assert (bag.counts.count(), other.counts.count()) == (1, 0)


@pytest.mark.parametrize("cents", [-1, 100_000_001])
def test_sum_nobody_can_mean_is_refused(loose, count, cents):
    with pytest.raises(Refused, match="too large"):
        count(loose(100), cents)


def test_withdrawn_count_gives_way_to_the_one_before(loose, count, again, owner, noon):
    bag = loose(10000)
    count(bag, 9700)
    wrong = count(bag, 900, at=noon + timedelta(minutes=5))
    for _ in range(2):
        actions.withdraw_count(count=wrong, by=owner, at=noon)
    assert again(bag).holds == 9700
    actions.withdraw_count(count=bag.counts.live().get(), by=owner, at=noon)
    assert (again(bag).holds, money_in("over_short")) == (10000, 0)


# Worked by hand: 100.01 among 70 and 30 is 70.007 and 30.003; the cent left goes to the larger remainder.
def test_sealed_bag_is_shared_out_by_what_the_meters_said(sealed, count, again):
    bag = sealed(7000, 3000)
    assert (bag.holds, shares(bag)) == (0, [None, None])
    count(bag, 10001)
    assert shares(again(bag)) == [7001, 3000]
    assert money_in("players") == -10001
    assert money_in("over_short") == 0


def test_empty_sealed_bag_is_a_take_of_nothing(sealed, count, again):
    bag = sealed(7000, 3000)
    count(bag, 0)
    assert shares(again(bag)) == [0, 0]
    assert not queries.uncounted_bags().exists()


def test_visit_corrected_after_its_loose_bag_was_counted(world, loose, count, again):
    bag = loose(10000)
    count(bag, 9700)
    entry = books.entry(world, "a2", cents=9700)
    change = {"replaces": books.some_id("a"), "reason": "misread", "loose_bag": {"id": str(bag.uuid), "number": "L-a"}}
    books.record(world, books.document(world, "a2", entries=[entry], **change))
    assert again(bag).holds == 9700
    assert money_in("over_short") == 0


def test_visit_corrected_after_its_sealed_bag_was_counted(world, sealed, count, again):
    bag = sealed(7000, 3000)
    count(bag, 8000)
    cash = {"taken": "sealed", "bag": {"id": str(bag.uuid), "number": "S-9"}, "estimate_cents": 7000}
    change = {"replaces": books.some_id("s"), "reason": "only one cabinet"}
    books.record(world, books.document(world, "s2", entries=[books.entry(world, "s2", cash=cash)], **change))
    assert again(bag).number == "S-9"
    assert shares(again(bag)) == [8000]
    assert money_in("players") == -8000


def test_withdrawn_visit_leaves_what_was_counted_as_over(world, loose, count, again):
    bag = loose(10000)
    count(bag, 9700)
    books.record(world, books.document(world, "no", void=True, replaces=books.some_id("a"), reason="never happened"))
    assert again(bag).holds == 9700
    assert (money_in("players"), money_in("over_short")) == (0, -9700)


def take(bag, person, noon):
    actions.hand_over(
        bag=bag, holder="person" if person else "safe", person=person, by=person, at=noon, received_at=noon
    )


def test_bag_is_where_it_went_last(loose, again, owner, noon):
    bag = loose(100)
    assert (bag.holder, bag.with_person) == ("person", "Tomas")
    take(bag, owner, noon)
    assert (again(bag).holder, again(bag).with_person) == ("person", "Ines")
    assert again(bag).there_since == noon


def test_handed_over_twice_to_the_same_is_once(loose, owner, noon):
    bag = loose(100)
    for _ in range(2):
        take(bag, owner, noon)
    assert BagMove.objects.filter(bag=bag).count() == 2  # filled by Tomas, taken over by Ines


def test_handed_over_twice_before_it_went_on_is_once(loose, owner, bookkeeper, noon):
    bag = loose(100)
    for person, at in ((owner, noon), *[(bookkeeper, noon - timedelta(hours=1))] * 2):
        take(bag, person, at)
    assert BagMove.objects.filter(bag=bag).count() == 3


@pytest.mark.parametrize(("holder", "named"), [("person", False), ("safe", True)])
def test_hand_over_names_a_person_or_the_safe(loose, owner, noon, holder, named):
    who = owner if named else None
    with pytest.raises(Refused, match="Say who took the bag"):
        actions.hand_over(bag=loose(100), holder=holder, person=who, by=owner, at=noon, received_at=noon)


def test_bag_goes_to_the_bank_with_all_it_holds(loose, count, to_bank, again):
    bag = loose(10000)
    count(bag, 9700)
    to_bank(bag)
    assert (again(bag).holds, again(bag).holder) == (0, "bank")
    assert money_in("bank") == 9700
    assert list(queries.bags_to_bank()) == []


def test_uncounted_sealed_bag_stays_away_from_the_bank(sealed, to_bank):
    with pytest.raises(Refused, match="Count Bag S-s first"):
        to_bank(sealed(100))


def test_empty_bag_and_one_there_already_stay_away_from_the_bank(loose, count, to_bank):
    bag, empty = loose(100), loose(500, name="b", days=1)
    to_bank(bag)
    with pytest.raises(Refused, match="Bag L-a is at the bank already"):
        to_bank(bag)
    count(empty, 0)
    with pytest.raises(Refused, match="no money in Bag L-b"):
        to_bank(empty)


def test_bank_before_the_bag_changed_hands_is_refused(loose, to_bank):
    with pytest.raises(Refused, match="changed hands after that"):
        to_bank(loose(100), at=books.START - timedelta(days=1))


def test_what_is_at_the_bank_is_not_handed_over_and_keeps_its_count(loose, count, to_bank, owner, noon):
    bag = loose(10000)
    counted = count(bag, 9700)
    to_bank(bag)
    with pytest.raises(Refused, match="at the bank"):
        take(bag, owner, noon)
    with pytest.raises(Refused, match="at the bank"):
        actions.withdraw_count(count=counted, by=owner, at=noon)


def test_deposit_taken_back(loose, count, to_bank, again, owner, noon):
    bag = loose(10000)
    count(bag, 9700)
    taken = to_bank(bag)
    for _ in range(2):
        actions_deposits.withdraw_deposit(deposit=taken, by=owner, at=noon)
    assert (again(bag).holds, again(bag).holder, money_in("bank")) == (9700, "person", 0)
    count(bag, 9800, at=noon + timedelta(minutes=1))
    to_bank(again(bag))
    assert money_in("bank") == 9800


def test_visit_corrected_after_its_bag_was_banked_shows_in_the_bag(world, loose, to_bank, again):
    bag = loose(10000)
    to_bank(bag)
    change = {"replaces": books.some_id("a"), "reason": "misread", "loose_bag": {"id": str(bag.uuid), "number": "L-a"}}
    books.record(world, books.document(world, "a2", entries=[books.entry(world, "a2", cents=9000)], **change))
    assert (again(bag).holds, again(bag).holder, money_in("bank")) == (-1000, "bank", 10000)


def test_money_is_neither_made_nor_lost(loose, sealed, count, to_bank):
    bags = [loose(4000, 6000), sealed(7000, 3000, days=1)]
    for bag in bags:
        count(bag, 9999)
        to_bank(bag)
    assert sum(purse_balances().values()) == 0
    assert money_in("bank") == 19998
