"""The pages of bags through the front door: where each is, counting, handing over, the bank."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from routeapp.cash import actions
from routeapp.cash.models import BagCount
from tests.cash.test_bags import money_in
from tests.visits import books

ENDLESS = "9" * 30


def words(response):
    return " ".join(response.content.decode().split())


def days_ago(days):
    """Days after the first day of the books that lie this long before the present."""
    return (timezone.now() - books.START) / timedelta(days=1) - days


def test_empty_page_teaches(office):
    page = words(office.get(reverse("cash")))
    assert "Here stands where every bag of money is" in page
    assert "$0.00</span> on its way to the bank" in page


def test_answer_stands_first(office, loose, sealed):
    loose(10000)
    loose(2550, name="b", days=1)
    sealed(100, days=2)
    page = words(office.get(reverse("cash")))
    assert "$125.50</span> in 2 bags not yet at the bank" in page
    assert "1 sealed bag not counted" in page
    assert "Strangers can learn a routine" in page


def test_uncounted_bags_come_oldest_first_and_old_ones_are_marked(office, sealed):
    sealed(100, name="new", days=days_ago(2))
    sealed(100, name="old", days=days_ago(4))
    response = office.get(reverse("cash"))
    assert [bag.number for bag in response.context["uncounted"]] == ["S-old", "S-new"]
    assert words(response).count('state bad">waits for') == 1


def test_money_is_listed_by_who_has_it(office, loose, owner, noon):
    loose(100)
    for name, person in (("b", owner), ("c", None)):
        holder = "person" if person else "safe"
        bag = loose(700, name=name, days=1)
        actions.hand_over(bag=bag, holder=holder, person=person, by=owner, at=noon, received_at=noon)
    holders = office.get(reverse("cash")).context["holders"]
    found = [(one["holder"], one["with_person"], one["cents"], [str(bag) for bag in bags]) for one, bags in holders]
    assert found == [
        ("person", "Ines", 700, ["Bag L-b"]),
        ("person", "Tomas", 100, ["Bag L-a"]),
        ("safe", None, 700, ["Bag L-c"]),
    ]


@pytest.mark.parametrize(
    ("number", "found"),
    [("L-a", ["L-a"]), (" Bag l-A ", ["L-a"]), ("", ["L-b", "L-a"]), ("\0", ["L-b", "L-a"]), ("Z", [])],
)
def test_bag_is_found_by_the_number_on_its_seal(office, loose, number, found):
    loose(100)
    loose(100, name="b", days=1)
    response = office.get(reverse("cash"), {"q": number})
    assert [bag.number for bag in response.context["table"].rows] == found


@pytest.mark.parametrize("name", ["page", "held", "waiting"])
@pytest.mark.parametrize("number", ["0", "-1", "x", ENDLESS])
def test_page_that_is_not_there_shows_another(office, loose, name, number):
    loose(100)
    assert office.get(reverse("cash"), {name: number}).status_code == 200


def asked(client, name, *args):
    with CaptureQueriesContext(connection) as captured:
        assert client.get(reverse(name, args=args), {"since": "2026-01-01"}).status_code == 200
    return len(captured)


def test_pages_ask_the_database_no_more_for_3_bags_than_for_1(office, loose, sealed, count):
    def fill(day):
        count(loose(100 + day, name=f"l{day}", days=day), 90)
        sealed(100, name=f"s{day}", days=day)
        count(sealed(100, name=f"t{day}", days=day + 0.5), 90)

    fill(0)
    names = ("cash", "over-short", "cash-moves")
    once = [asked(office, name) for name in names]
    fill(1)
    fill(2)
    assert [asked(office, name) for name in names] == once


def test_bag_page_asks_no_more_for_3_counts_than_for_1(office, loose, count, owner, noon):
    one, three = loose(100), loose(100, 200, name="b", days=1)
    for bag, times in ((one, 1), (three, 3)):
        for number in range(times):
            count(bag, 90 + number, at=noon + timedelta(hours=number))
    assert asked(office, "bag", three.pk) == asked(office, "bag", one.pk)


def test_bag_page_tells_its_story(office, loose, count, owner, noon):
    bag = loose(4000, 6000)
    actions.withdraw_count(count=count(bag, 9000), by=owner, at=noon)
    count(bag, 9700, note="One roll was torn.", how="denominations", lines={"n500": 19, "c25": 8})
    page = words(office.get(reverse("bag", args=[bag.pk])))
    assert "$97.00</span>" in page
    assert "Short by $3.00</span> against what was noted at the site" in page
    assert "8 × $0.25, 19 × $5.00" in page
    assert "One roll was torn." in page
    assert "Short by $10.00" in page  # the withdrawn count stays readable
    assert "counted less than was noted at the site" in page
    assert "With Tomas" in page


def test_bag_that_is_not_there(office):
    for pk in (1, ENDLESS):
        for name in ("bag", "bag-count", "bag-hand-over"):
            assert office.get(reverse(name, args=[pk])).status_code == 404
        assert office.post(reverse("bag-count-withdraw", args=[pk])).status_code == 404


def test_count_says_at_once_whether_the_money_is_right(send, loose):
    page = words(send("bag-count", loose(10000), uuid=uuid4(), n500="19", c25="8"))
    assert "The count of Bag L-a is kept." in page
    assert "Short by $3.00" in page


@pytest.mark.parametrize(
    ("estimates", "verdict"),
    [([7000, 2900], "Over by $1.00"), ([7000, 3000], "Exact"), ([7000, 0], "No meter to compare it with")],
)
def test_count_of_a_sealed_bag_is_compared_with_the_meters(send, sealed, estimates, verdict):
    bag = sealed(*estimates)
    page = words(send("bag-count", bag, uuid=uuid4(), sum="100"))
    assert f"{verdict}</span>" in page
    assert "shared out in proportion" in page


def test_count_page_keeps_what_was_noted_to_itself(office, loose, sealed):
    page = words(office.get(reverse("bag-count", args=[loose(12345).pk])))
    assert "$123.45" not in page
    assert "is shown after you counted" in page
    page = words(office.get(reverse("bag-count", args=[sealed(7000, 3000, days=1).pk])))
    assert "What you find is the take of C-" in page


def test_count_sent_twice_is_one(send, loose):
    bag, sent = loose(10000), {"uuid": uuid4(), "sum": "97"}
    assert "Short by $3.00" in words(send("bag-count", bag, **sent))
    assert "Short by $3.00" in words(send("bag-count", bag, **sent))
    assert BagCount.objects.count() == 1


@pytest.mark.parametrize("typed", ["89.99", "110.01", "0"])
def test_count_that_is_far_off_is_asked_about_and_kept_with_a_reason(send, loose, typed):
    bag, sent = loose(10000), {"uuid": uuid4(), "sum": typed}

    asked = send("bag-count", bag, **sent)
    assert (asked.status_code, bag.counts.count()) == (422, 0)
    assert "Is that right? It is far from what should be in this bag." in words(asked)

    kept = send("bag-count", bag, **sent | {"note": "counted twice, Mika was there"})
    assert (kept.status_code, bag.counts.get().note) == (200, "counted twice, Mika was there")


@pytest.mark.parametrize("typed", ["90", "100", "110"])
def test_count_off_by_a_tenth_or_less_is_kept_at_once(send, loose, typed):
    assert send("bag-count", loose(10000), uuid=uuid4(), sum=typed).status_code == 200


def test_bag_whose_only_visit_was_withdrawn_is_not_listed(office, world, loose):
    bag = loose(10000)
    amends = {"replaces": books.some_id("a"), "void": True, "reason": "never was there"}
    books.record(world, books.document(world, "void", **amends))

    assert list(office.get(reverse("cash")).context["table"].rows) == []
    assert office.get(reverse("bag", args=[bag.pk])).status_code == 200


def test_count_changed_after_it_was_sent_is_asked_for_again(send, loose):
    bag, sent = loose(10000), {"uuid": uuid4(), "sum": "97"}
    send("bag-count", bag, **sent)
    response = send("bag-count", bag, **sent | {"sum": "79", "note": "a note was missing"})
    assert response.status_code == 422
    assert "This page was sent before and $97.00 was kept." in words(response)
    assert 'value="79"' in words(response)


@pytest.mark.parametrize(
    "typed",
    [
        {},
        {"note": "nothing else"},
        {"sum": "-3"},
        {"sum": ENDLESS},
        {"sum": "2000000"},
        {"sum": "5", "c25": "3"},
        {"c25": "-1"},
        {"c25": "999999999", "n10000": "999999999"},
        {"w25": "-1"},
        {"sum": "5", "note": "a\0b"},
        {"sum": "5", "note": "x" * 301},
        {"sum": "5", "uuid": "no id"},
        {"sum": "5", "uuid": ""},
    ],
)
def test_count_nobody_can_mean_is_refused_with_words(send, loose, typed):
    response = send("bag-count", loose(10000), **{"uuid": uuid4()} | typed)
    assert response.status_code == 422
    assert "errorlist" in words(response)
    assert not BagCount.objects.exists()


def test_count_is_withdrawn(office, loose, count):
    bag = loose(10000)
    wrong = count(bag, 900)
    page = words(office.post(reverse("bag-count-withdraw", args=[wrong.pk]), follow=True))
    assert "Withdrawn." in page
    assert "$100.00</span> by what was noted at the site" in page
    assert office.get(reverse("bag-count-withdraw", args=[wrong.pk])).status_code == 405


def test_count_of_banked_money_is_not_withdrawn(office, to_bank, loose, count):
    bag = loose(10000)
    counted = count(bag, 9700)
    to_bank(bag)
    page = words(office.post(reverse("bag-count-withdraw", args=[counted.pk]), follow=True))
    assert "This money is at the bank already." in page
    assert BagCount.objects.live().exists()


def test_bag_is_handed_over(send, loose, owner, again):
    bag = loose(10000)
    page = words(send("bag-hand-over", bag, person=owner.pk))
    assert "with Ines</span> since" in page
    send("bag-hand-over", bag, person="")
    assert again(bag).holder == "safe"


def test_handed_over_earlier_is_told_in_the_time_of_the_place(send, loose, owner, again):
    bag = loose(10000)
    send("bag-hand-over", bag, person=owner.pk, at="2026-04-01T08:30")
    assert again(bag).there_since.isoformat() == "2026-04-01T13:30:00+00:00"  # Chicago, UTC−5 in summer


@pytest.mark.parametrize("at", ["tomorrow", "2998-01-01T00:00", "0001-01-01T00:00", "9999-12-31T23:59", "\0"])
def test_moment_nobody_can_mean_is_refused(send, send_to_bank, loose, again, at):
    bag = loose(10000)
    for response in (send("bag-hand-over", bag, at=at), send_to_bank(bag, at=at)):
        assert (response.status_code, list(response.context["form"].errors)) == (422, ["at"])
    assert (again(bag).holder, again(bag).with_person) == ("person", "Tomas")


@pytest.mark.parametrize("person", ["987654", "-1", "x", ENDLESS, "\0"])
def test_nobody_known_takes_no_bag(send, loose, person):
    response = send("bag-hand-over", loose(10000), person=person)
    assert (response.status_code, list(response.context["form"].errors)) == (422, ["person"])


def test_somebody_who_left_takes_no_bag(send, loose, owner):
    owner.is_active = False
    owner.save()
    assert send("bag-hand-over", loose(10000), person=owner.pk).status_code == 422


def test_bag_is_taken_to_the_bank_once(send, send_to_bank, loose, again):
    bag, uuid = loose(10000), uuid4()
    for _ in range(2):
        assert "$100.00</span> in 1 bag" in words(send_to_bank(bag, uuid=uuid, n500="20"))
    assert "Bag L-a is at the bank already." in words(send_to_bank(bag))
    assert "$100.00</span> taken to the bank" in words(send("bag-count", bag, uuid=uuid4(), sum="1"))
    assert again(bag).counted is False


def test_uncounted_sealed_bag_is_not_taken_to_the_bank(send_to_bank, sealed, again):
    bag = sealed(100)
    response = send_to_bank(bag)
    assert response.status_code == 422
    assert "Count Bag S-s first" in words(response)
    assert again(bag).holder == "person"


def test_correction_after_the_bank_is_told_on_the_bags_page(to_bank, office, world, loose):
    bag = loose(10000)
    to_bank(bag)
    change = {"replaces": books.some_id("a"), "reason": "misread", "loose_bag": {"id": str(bag.uuid), "number": "L-a"}}
    books.record(world, books.document(world, "a2", entries=[books.entry(world, "a2", cents=9000)], **change))
    page = words(office.get(reverse("bag", args=[bag.pk])))
    assert "its figures changed" in page
    assert "it went there with $10.00 too much" in page

    for _ in range(2):
        page = words(office.post(reverse("bag-hold-to-bank", args=[bag.pk]), follow=True))
    assert "its figures changed" not in page
    assert (money_in("bag"), money_in("bank"), money_in("over_short")) == (0, 10000, -1000)


def test_bag_that_is_not_at_the_bank_is_counted_instead(office, loose, again):
    page = words(office.post(reverse("bag-hold-to-bank", args=[loose(10000).pk]), follow=True))
    assert "Count it instead." in page
    assert money_in("over_short") == 0


def test_route_hand_sees_no_buttons_that_are_not_theirs(hand_client, loose, count):
    bag = loose(10000)
    count(bag, 9700)
    page = words(hand_client.get(reverse("bag", args=[bag.pk])))
    assert "Hand over</a>" in page
    assert "Take to the bank" not in page
    assert "Withdraw this count" not in page
    assert reverse("over-short") not in page


def test_moves_of_money_say_from_where_to_where(office, loose):
    loose(4000)
    rows = office.get(reverse("cash-moves")).context["table"].cells()
    told = [[cell.value for cell in cells[1:4]] for _, cells in rows]
    assert told == [[4000, "Cash box", "Bag"], [4000, "Players", "Cash box"]]
