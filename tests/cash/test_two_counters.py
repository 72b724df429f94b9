"""A bag counted by two people: together, or each without seeing the other's figure."""

from uuid import uuid4

import pytest
from django.urls import reverse

from routeapp.cash import actions, actions_blind
from routeapp.cash.models import BlindCount
from routeapp.cash.queries_counts import waiting
from routeapp.kit.errors import Refused
from tests.cash.test_pages import words


@pytest.fixture
def blind(noon):
    def note(bag, cents, by, uuid=None):
        said = {"how": "amount", "lines": {}, "by": by, "at": noon, "received_at": noon}
        return actions_blind.count_blind(uuid=uuid or uuid4(), bag=bag, cents=cents, **said)

    return note


def test_second_counter_is_named(loose, count, bookkeeper, owner):
    one = count(loose(10000), 9700, second=bookkeeper)
    assert (one.by, one.second) == (owner, bookkeeper)


def test_nobody_is_their_own_second_counter(loose, count, owner):
    with pytest.raises(Refused, match="somebody else"):
        count(loose(10000), 9700, second=owner)


def test_one_blind_count_holds_nothing(loose, blind, owner, again):
    bag = loose(10000)
    assert blind(bag, 9700, owner) is None
    assert (again(bag).holds, again(bag).counted) == (10000, False)


def test_two_equal_blind_counts_are_the_count(loose, blind, owner, bookkeeper, again):
    bag = loose(10000)
    blind(bag, 9700, owner)
    kept = blind(bag, 9700, bookkeeper)
    assert (kept.by, kept.second, again(bag).holds) == (bookkeeper, owner, 9700)
    assert list(waiting(bag)) == []


def test_differing_blind_counts_are_asked_about(loose, blind, owner, bookkeeper, again):
    bag = loose(10000)
    blind(bag, 9700, owner)
    assert blind(bag, 9600, bookkeeper) is None
    assert (again(bag).counted, waiting(bag).count()) == (False, 2)
    assert blind(bag, 9700, bookkeeper).cents == 9700  # who counts again takes back what they found before
    assert BlindCount.objects.filter(settled_by=None, withdrawn_at=None).count() == 0


def test_same_blind_count_sent_twice_is_one(loose, blind, owner):
    bag, uuid = loose(10000), uuid4()
    for _ in range(2):
        assert blind(bag, 9700, owner, uuid) is None
    assert BlindCount.objects.count() == 1


def test_same_person_cannot_be_both(loose, blind, owner, again):
    bag = loose(10000)
    for _ in range(2):
        assert blind(bag, 9700, owner) is None
    assert again(bag).counted is False


def test_count_together_settles_what_differed(loose, blind, count, owner, bookkeeper):
    bag = loose(10000)
    blind(bag, 9700, owner)
    blind(bag, 9600, bookkeeper)
    kept = count(bag, 9700, second=bookkeeper)
    assert set(kept.blind_counts.values_list("cents", flat=True)) == {9700, 9600}


@pytest.mark.parametrize("cents", [-1, 100_000_001])
def test_blind_sum_nobody_can_mean_is_refused(loose, blind, owner, cents):
    with pytest.raises(Refused, match="too large"):
        blind(loose(100), cents, owner)


def test_page_keeps_the_first_figure_to_itself(send, loose, blind, owner):
    bag = loose(10000)
    blind(bag, 9712, owner)
    page = words(send("bag-count", bag, uuid=uuid4(), sum="96.00", blind="on"))
    assert "The counts differ." in page
    assert "Two counts differ" in page
    assert "97.12" not in page
    assert "96.00" not in page


def test_page_says_that_a_second_count_is_waited_for(office, send, loose):
    bag = loose(10000)
    page = words(send("bag-count", bag, uuid=uuid4(), sum="1", blind="on"))  # far off, but not steered yet
    assert "Waits for a second count" in page
    assert "counted this bag too" not in words(office.get(reverse("bag-count", args=[bag.pk])))


def test_alone_after_a_blind_count_wants_a_word(send, loose, blind, owner):
    bag = loose(10000)
    blind(bag, 9700, owner)
    answer = send("bag-count", bag, uuid=uuid4(), sum="97")
    assert (answer.status_code, "Say what became of their counts" in words(answer)) == (422, True)
    assert "is kept." in words(send("bag-count", bag, uuid=uuid4(), sum="97", note="Ines had to leave"))


def test_together_and_blind_at_once_is_asked_about(send, loose, owner):
    answer = send("bag-count", loose(10000), uuid=uuid4(), sum="97", blind="on", second=owner.pk)
    assert (answer.status_code, "Choose one of them" in words(answer)) == (422, True)


def test_withdrawn_count_names_both(office, loose, count, owner, bookkeeper, noon):
    bag = loose(10000)
    actions.withdraw_count(count=count(bag, 9700, second=bookkeeper), by=owner, at=noon)
    assert "Ines with" in words(office.get(reverse("bag", args=[bag.pk])))
