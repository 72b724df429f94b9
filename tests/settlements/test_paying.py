"""Hosts are owed what was issued less what was paid, whichever way it was paid."""

from datetime import date
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError
from django.urls import reverse

from routeapp.cash import actions as cash
from routeapp.cash import actions_bank as bank
from routeapp.cash.models import CashMove
from routeapp.kit.errors import Refused
from routeapp.models import Matched, Remittance
from routeapp.settlements import actions, queries
from tests.settlements.world import IN_APRIL, arcade, issue, visit
from tests.visits.books import START

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    issue(world)
    money = {"from_purse": "owner", "to_purse": "bank", "cents": 100_000, "day": date(2026, 3, 1), "at": START}
    cash.append(moves=[CashMove(**money)], by=owner, at=START)
    return world


def pay(world, cents, **more):
    said = {"uuid": uuid4(), "means": "transfer", "day": date(2026, 4, 20), "at": IN_APRIL}
    return actions.pay(location=world.location, cents=cents, by=world.person, **{**said, **more})


def owed(world):
    return queries.owed_cents([world.location.pk])[world.location.pk]


@pytest.mark.parametrize(
    ("means", "purse"), [("transfer", "bank"), ("cheque", "bank"), ("own", "owner"), ("credit", "costs")]
)
def test_payment_lessens_what_is_owed_and_moves_money(world, means, purse):
    made = pay(world, 1_500, means=means)

    assert owed(world) == 2_500
    (move,) = CashMove.objects.filter(source=made.uuid)
    assert (move.from_purse, move.to_purse, move.cents, move.location) == (purse, "host", 1_500, world.location)


def test_same_payment_twice_is_one(world):
    uuid = uuid4()
    assert pay(world, 1_500, uuid=uuid) == pay(world, 1_500, uuid=uuid)
    assert owed(world) == 2_500


@pytest.mark.parametrize(
    ("said", "refusal"),
    [
        ({"cents": 4_100}, "They are owed $40.00, so this is $1.00 too much or paid ahead. If that is right, "
         "say so below."),
        ({"cents": 4_100, "although": True}, "They are owed $40.00, so this is $1.00 too much or paid ahead. "
         "Say in the note why, so that it can be understood later."),
        ({"cents": 100, "day": date(2026, 4, 21)}, "That day is still to come."),
    ],
)  # fmt: skip
def test_payment_is_refused_in_words(world, said, refusal):
    with pytest.raises(Refused) as problem:
        pay(world, **said)
    assert problem.value.message == refusal
    assert owed(world) == 4_000


def test_more_than_is_owed_can_be_paid_with_a_note(world):
    pay(world, 5_000, although=True, note="Paid ahead for May")
    assert owed(world) == -1_000


def test_more_than_the_bank_has_by_the_books_is_asked_about(world, owner):
    out = {"from_purse": "bank", "to_purse": "owner", "cents": 99_000, "day": date(2026, 3, 1), "at": START}
    cash.append(moves=[CashMove(**out)], by=owner, at=START)

    with pytest.raises(Refused, match=r"The books have only \$10\.00 at the bank\."):
        pay(world, 1_500)
    assert pay(world, 1_500, although=True, note="Opening balance was never written down").cents == 1_500


def test_withdrawn_payment_is_owed_again(world, owner):
    made = pay(world, 1_500)
    actions.withdraw_payment(payment=made, by=owner, at=IN_APRIL)
    actions.withdraw_payment(payment=made, by=owner, at=IN_APRIL)
    assert owed(world) == 4_000
    assert queries.held_in("bank") == 100_000


def test_refund_that_the_host_paid_is_owed_to_the_host(world, owner):
    refund = {"from_purse": "host", "to_purse": "refunds", "cents": 300, "day": date(2026, 4, 2), "at": IN_APRIL}
    cash.append(moves=[CashMove(**refund, location=world.location)], by=owner, at=IN_APRIL)
    assert owed(world) == 4_300


def test_payment_of_nothing_is_refused_by_the_database(world, owner):
    facts = {"by": owner, "at": START, "received_at": START, "day": date(2026, 3, 1)}
    with pytest.raises(IntegrityError, match="remittance_above_zero"):
        Remittance.objects.create(uuid=uuid4(), location=world.location, cents=0, **facts)


def test_payment_that_the_bank_tells_of_stays_until_the_match_is_taken_apart(world, owner_client, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    made, signed = pay(world, 1_500), {"by": world.person, "at": IN_APRIL}
    file = SimpleUploadedFile("april.csv", b"Date,Text,Amount\n2026-04-20,out,-15.00\n")
    statement = bank.take_statement(uuid=uuid4(), file=file, **signed)
    said = {"heading": 1, "columns": {"0": "day", "1": "text", "2": "amount"}, "zone": "UTC", "order": ""}
    bank.bring_rows(statement=statement, said=said, account="Till", signature="s", **signed)

    answer = owner_client.post(reverse("payment-withdraw", args=[made.pk]), follow=True)
    told = "A row of the bank's statement is matched to this. Take that match apart first, under Bank."
    assert [str(one) for one in answer.context["messages"]] == [told]
    assert owed(world) == 2_500

    bank.undo_match(source=Matched.objects.live().values_list("source", flat=True)[0], **signed)
    owner_client.post(reverse("payment-withdraw", args=[made.pk]))
    assert owed(world) == 4_000
