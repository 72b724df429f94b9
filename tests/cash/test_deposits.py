"""Bags taken to the bank together: the slip, the bank's figure, and what undoes it."""

from uuid import uuid4

import pytest
from django.urls import reverse

from routeapp.cash import actions, queries, queries_deposits, rules_slip
from routeapp.cash import actions_deposits as deposits
from routeapp.cash.models import CashMove
from routeapp.cash.models_bank import BankFigure, Deposit
from routeapp.cash.queries_deposits import deposit_of
from routeapp.cash.queries_deposits import deposits as all_deposits
from routeapp.kit.errors import Refused
from tests.cash.test_bags import money_in
from tests.cash.test_pages import words


def note(deposit, cents, owner, noon, reason="a roll was miscounted"):
    deposits.note_bank_figure(deposit=deposit, cents=cents, reason=reason, by=owner, at=noon)


def told(deposit):
    one = all_deposits().get(pk=deposit.pk)
    return one.cents, one.many, one.figure, one.difference


def test_bags_go_together_with_all_they_hold(loose, count, to_bank, again):
    first, second = loose(10000), loose(2500, name="b", days=1)
    count(first, 9700)
    taken = to_bank(first, second)
    assert told(taken) == (12200, 2, None, None)
    assert money_in("bank") == 12200
    assert {again(bag).holder for bag in (first, second)} == {"bank"}
    assert deposit_of(first) == taken


def test_same_deposit_sent_twice_is_one(loose, to_bank):
    bag, uuid = loose(10000), uuid4()
    assert to_bank(bag, uuid=uuid) == to_bank(bag, uuid=uuid)
    assert (Deposit.objects.count(), money_in("bank")) == (1, 10000)


def test_one_bag_that_cannot_go_keeps_all_back(loose, sealed, to_bank, again):
    fine, uncounted = loose(10000), sealed(100, days=1)
    with pytest.raises(Refused, match="Count Bag S-s first"):
        to_bank(fine, uncounted)
    assert (again(fine).holder, money_in("bank"), Deposit.objects.count()) == ("person", 0, 0)


def test_no_bag_is_no_deposit(to_bank):
    with pytest.raises(Refused, match="Choose the bags"):
        to_bank()


@pytest.mark.parametrize(("found", "over"), [(9600, 400), (10050, -50), (10000, 0)])
def test_banks_difference_goes_over_or_short(loose, to_bank, owner, noon, found, over):
    taken = to_bank(loose(10000))
    assert told(taken)[2:] == (None, None)
    note(taken, found, owner, noon)
    assert (money_in("bank"), money_in("over_short")) == (found, over)
    assert told(taken)[2:] == (found, -over)


def test_newest_figure_of_the_bank_holds(loose, to_bank, owner, noon):
    taken = to_bank(loose(10000))
    for cents in (9600, 9990, 9990):
        note(taken, cents, owner, noon)
    assert told(taken) == (10000, 1, 9990, -10)
    assert money_in("over_short") == 10
    assert BankFigure.objects.count() == 2


def test_what_a_host_got_out_of_other_bags_comes_off_them(office, loose, to_bank, owner, noon):
    full = loose(10000)
    short = loose(7200, name="b", days=1, host_payment={"cents": 11800, "received_by": "Mika"})
    assert [(one.pk, one.holds) for one in queries_deposits.bags_that_can_go()] == [(full.pk, 10000), (short.pk, -4600)]
    assert "it comes off the others" in office.get(reverse("deposit-add")).text
    with pytest.raises(Refused, match="More was paid out of these bags than was in them"):
        to_bank(short)

    taken = to_bank(full, short)
    assert told(taken) == (5400, 2, None, None)
    assert [(one.pk, one.cents) for one in queries_deposits.bags_of(taken).order_by("pk")] == [
        (full.pk, 10000), (short.pk, -4600),
    ]  # fmt: skip
    assert (money_in("bank"), money_in("bag"), money_in("over_short")) == (5400, 0, 0)
    deposits.withdraw_deposit(deposit=taken, by=owner, at=noon)
    assert (money_in("bank"), money_in("bag")) == (0, 5400)


def test_difference_needs_a_reason(loose, to_bank, owner, noon):
    taken = to_bank(loose(10000))
    with pytest.raises(Refused, match="figure differs"):
        note(taken, 9999, owner, noon, reason="")
    note(taken, 10000, owner, noon, reason="")
    assert told(taken)[2] == 10000


@pytest.mark.parametrize("cents", [-1, 100_000_001])
def test_figure_nobody_can_mean_is_refused(loose, to_bank, owner, noon, cents):
    with pytest.raises(Refused, match="too large"):
        note(to_bank(loose(10000)), cents, owner, noon)


def test_withdrawn_deposit_leaves_nothing_at_the_bank(loose, to_bank, owner, noon, again):
    bag = loose(10000)
    taken = to_bank(bag)
    note(taken, 9000, owner, noon)
    for _ in range(2):
        deposits.withdraw_deposit(deposit=taken, by=owner, at=noon)
    assert (money_in("bank"), money_in("over_short"), again(bag).holds) == (0, 0, 10000)
    assert again(bag).with_person == "Tomas"
    with pytest.raises(Refused, match="was withdrawn"):
        note(taken, 9000, owner, noon)


# --- the slip ---


def test_slip_says_pieces_dearest_first_and_what_was_not_sorted():
    lines = rules_slip.slip_lines({"c25": 8, "n500": 3, "n2000": 1, "c100": 2}, 4000, "USD")
    assert [(one.name, one.pieces, one.cents) for one in lines] == [
        ("$20.00 notes", 1, 2000),
        ("$5.00 notes", 3, 1500),
        ("$1.00 coins", 2, 200),
        ("$0.25 coins", 8, 200),
        ("Not sorted by coin and note", None, 100),
    ]


def test_pieces_of_the_counts_stand_on_the_slip(office, loose, count):
    counted, by_sum = loose(10000), loose(2500, name="b", days=1)
    count(counted, 9700, how="denominations", lines={"n500": 19, "c25": 8})
    count(by_sum, 2500)
    page = office.get(f"{reverse('deposit-add')}?bag={counted.pk}&bag={by_sum.pk}")
    form = page.context["form"]
    assert (form["n500"].value(), form["c25"].value(), form["c100"].value()) == (19, 8, None)


def test_slip_is_a_pdf(office, loose, send_to_bank):
    send_to_bank(loose(10000), uuid=(uuid := uuid4()), n500="19", c25="8")
    answer = office.get(reverse("deposit-slip", args=[uuid]))
    assert (answer.status_code, answer.content[:5]) == (200, b"%PDF-")


def test_slip_cannot_hold_more_than_the_bags(loose, send_to_bank):
    response = send_to_bank(loose(10000), uuid=uuid4(), n500="21")
    assert response.status_code == 422
    assert "come to $105.00, but the bags hold $100.00" in words(response)


# --- pages ---


@pytest.mark.parametrize("bag", ["x", "-1", "9" * 30, "\0", "999999"])
def test_bags_that_are_not_there_are_chosen_anew(office, bag):
    page = office.get(reverse("deposit-add"), {"bag": bag})
    assert (page.status_code, "No bag holds money" in words(page)) == (200, True)


def test_bags_that_can_go_are_offered(office, loose, sealed, to_bank):
    waits, gone = loose(10000), loose(500, name="b", days=1)
    sealed(100, days=2)
    to_bank(gone)
    assert list(office.get(reverse("deposit-add")).context["bags"]) == [waits]


def test_figure_is_written_down_on_the_page(office, loose, to_bank):
    taken = to_bank(loose(10000))
    answer = office.post(
        reverse("deposit-figure", args=[taken.uuid]), {"cents": "96", "reason": "torn note"}, follow=True
    )
    assert "The bank found $96.00: short by $4.00." in words(answer)
    answer = office.post(reverse("deposit-figure", args=[taken.uuid]), {"cents": "95"})
    assert (answer.status_code, "figure differs" in words(answer)) == (422, True)


def test_deposit_is_withdrawn_on_the_page(office, loose, to_bank, again):
    bag = loose(10000)
    taken = to_bank(bag)
    page = words(office.post(reverse("deposit-withdraw", args=[taken.uuid]), follow=True))
    assert "Its bags are back" in page
    assert "$100.00</span> in 1 bag" in page  # what was in it stays readable
    assert again(bag).holds == 10000


def test_list_asks_the_database_the_same_at_one_and_three(office, loose, count, to_bank, django_assert_max_num_queries):
    asked = []
    for name in ("a", "b", "c"):
        bag = loose(10000, name=name, days=ord(name))
        count(bag, 9900)
        to_bank(bag, at=queries.bags().get(pk=bag.pk).there_since)
        if name != "b":
            with django_assert_max_num_queries(40) as seen:
                for page in ("deposits", "bag-counts"):
                    office.get(reverse(page))
            asked.append(len(seen))
    assert asked[0] == asked[1]


def test_moves_of_a_deposit_carry_its_id(loose, to_bank):
    taken = to_bank(loose(10000), loose(500, name="b", days=1))
    assert CashMove.objects.filter(source=taken.uuid, to_purse="bank").count() == 2


def test_counted_again_while_at_the_bank_is_not_withdrawn(loose, count, to_bank, owner, noon):
    bag = loose(10000)
    counted = count(bag, 9900)
    to_bank(bag)
    with pytest.raises(Refused, match="at the bank"):
        actions.withdraw_count(count=counted, by=owner, at=noon)
