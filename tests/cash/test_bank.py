"""Statements of the bank: rows taken once, matched to what the books say, and taken apart again."""

from datetime import date, timedelta
from uuid import UUID, uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse

from routeapp.cash import actions_bank as bank
from routeapp.cash import queries_bank as queries
from routeapp.cash.actions import append
from routeapp.cash.actions_deposits import note_bank_figure, withdraw_deposit
from routeapp.cash.models import CashMove
from routeapp.cash.models_bank import BankRow, How, Matched, Statement
from routeapp.cash.queries_deposits import deposits
from routeapp.kit.errors import Refused
from tests.cash.test_bags import money_in
from tests.cash.test_pages import words
from tests.visits.books import START

HEAD = "Date,Description,Amount\n"


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def bring(owner, noon):
    """Take the rows of a file, `text` without its headings, as its headings say."""

    def take(text, account="Till"):
        file = SimpleUploadedFile("march.csv", (HEAD + text).encode())
        one = bank.take_statement(uuid=uuid4(), file=file, by=owner, at=noon)
        said = {"heading": 1, "columns": {"0": "day", "1": "text", "2": "amount"}, "zone": "UTC", "order": ""}
        return bank.bring_rows(statement=one, said=said, account=account, signature="s", by=owner, at=noon)

    return take


@pytest.fixture
def deposited(loose, to_bank):
    """100.00 of Bag L-a, taken to the bank the day after it was filled."""
    return to_bank(loose(10000), at=START + timedelta(days=1))


@pytest.fixture
def signed(owner, noon):
    return {"by": owner, "at": noon}


def row(**only):
    return queries.rows().get(**only)


def test_exact_row_is_matched_at_once(deposited, bring):
    bring("2026-03-05,cash,100.00\n")
    assert row().how == How.EXACT
    assert deposits().get().matched == How.EXACT
    assert queries.unmatched_events() == []


def test_same_rows_twice_are_once(bring):
    bring("2026-03-05,coins,5.00\n2026-03-05,coins,5.00\n")
    again = bring("2026-03-05,coins,5.00\n2026-03-05,coins,5.00\n2026-03-06,coins,5.00\n")
    assert (again.rows_new, again.rows_known, BankRow.objects.count()) == (1, 2, 3)


def test_row_of_two_files_stays_when_one_of_them_is_withdrawn(deposited, bring, signed):
    mistake = bring("2026-03-05,cash,100.00\n2026-03-06,not ours,7.00\n")
    march = bring("2026-03-05,cash,100.00\n2026-03-07,coins,5.00\n")
    bank.withdraw_statement(statement=mistake, **signed)
    march.refresh_from_db()
    assert [(one.text, one.how) for one in queries.rows().order_by("day")] == [("cash", How.EXACT), ("coins", None)]
    assert (march.rows_new, march.rows_known) == (2, 0)


def test_all_rows_that_are_wrong_are_counted(bring):
    with pytest.raises(Refused, match=r"Row 6, column A: .* And 205 more\.$"):
        bring("someday,coins,5.00\n" * 210)


def test_same_words_of_another_account_are_another_row(bring):
    bring("2026-03-05,coins,5.00\n")
    assert bring("2026-03-05,coins,5.00\n", account="Savings").rows_new == 1


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("2026-03-05,a,5.00\n2026-03-06,b,€7.00\n", "Row 3, column C: “€7.00” is in another currency"),
        ("2026-03-05,a,5.00\n2026-03-06,b,many\n", "Row 3, column C"),
        ("2026-03-05,a,5.00\n,b,7\n", "Row 3: An amount stands here, but no day."),
        ("2026-03-05,a,0.00\n", "no row below the headings holds an amount"),
    ],
)
def test_file_with_a_wrong_row_leaves_nothing(bring, text, why):
    with pytest.raises(Refused, match="Nothing was taken") as refused:
        bring(text)
    assert why in refused.value.message
    assert (BankRow.objects.count(), Statement.objects.get().rows_new) == (0, None)


def test_banks_other_figure_goes_over_or_short(deposited, bring, signed):
    bring("2026-03-05,cash,97.50\n")
    (proposal,) = queries.proposals([row()], queries.unmatched_events())
    assert (proposal.difference, proposal.event.deposit) == (-250, deposited.uuid)
    facts = {"rows": [row()], "events": [proposal.event.key], "how": How.NEAR, "reason": "near"}
    for _ in range(2):
        bank.match(uuid=UUID(int=1), **facts, **signed)
    assert (money_in("bank"), money_in("over_short"), deposits().get().figure) == (9750, 250, 9750)
    bank.undo_match(source=UUID(int=1), **signed)
    assert (money_in("bank"), money_in("over_short"), deposits().get().figure) == (10000, 0, None)
    assert row().how is None


def test_figure_that_was_typed_before_a_match_holds_again_after_it(deposited, bring, signed, owner):
    note_bank_figure(deposit=deposited, cents=9900, reason="a torn note", by=owner, at=START + timedelta(days=2))
    bring("2026-03-05,cash,97.50\n")
    said = {"rows": [row()], "events": [str(deposited.uuid)], "how": How.NEAR, "reason": "near"}
    for number in (1, 2):
        bank.match(uuid=UUID(int=number), **said, **signed)
        assert (money_in("bank"), money_in("over_short"), deposits().get().figure) == (9750, 250, 9750)
        bank.undo_match(source=UUID(int=number), **signed)
        assert (money_in("bank"), money_in("over_short"), deposits().get().figure) == (9900, 100, 9900)


def test_two_rows_are_one_deposit(deposited, bring, signed):
    bring("2026-03-05,notes,60.00\n2026-03-06,coins,40.00\n")
    bank.match(uuid=uuid4(), rows=queries.unmatched_rows(), events=[str(deposited.uuid)], how=How.HAND, **signed)
    assert list(queries.unmatched_rows()) == []
    assert deposits().get().figure is None


def test_payment_that_differs_is_put_right_first(world, deposited, bring, signed):
    bring("2026-03-05,x,-30.00\n")
    bank.book_row(uuid=UUID(int=7), row=row(), other="costs", reason="monthly charge", **signed)
    bring("2026-03-06,y,-31.00\n")
    bank.undo_match(source=UUID(int=7), **signed)
    with pytest.raises(Refused, match="Choose what it is"):
        bank.match(uuid=uuid4(), rows=[row(text="y")], events=[str(UUID(int=7))], how=How.HAND, **signed)


def test_deposit_cannot_be_matched_twice(deposited, bring, signed):
    bring("2026-03-05,a,100.00\n2026-03-06,b,100.00\n")
    waits = queries.unmatched_rows().get()
    with pytest.raises(Refused, match="matched already, or was taken back"):
        bank.match(uuid=uuid4(), rows=[waits], events=[str(deposited.uuid)], how=How.HAND, **signed)
    with pytest.raises(Refused, match="matched already"):
        bank.match(uuid=uuid4(), rows=[row(text="a")], events=[str(deposited.uuid)], how=How.HAND, **signed)


def test_matched_deposit_stays_as_it_is(deposited, bring, owner, noon):
    bring("2026-03-05,a,100.00\n")
    with pytest.raises(Refused, match="Undo the match first"):
        withdraw_deposit(deposit=deposited, by=owner, at=noon)
    with pytest.raises(Refused, match="Undo the match first"):
        note_bank_figure(deposit=deposited, cents=1, reason="x", by=owner, at=noon)


@pytest.mark.parametrize(("amount", "held"), [("-4.00", -400), ("4.00", 400)])
def test_what_only_the_bank_tells_is_booked(bring, signed, amount, held):
    bring(f"2026-03-05,charge,{amount}\n")
    for _ in range(2):
        bank.book_row(uuid=UUID(int=3), row=row(), other="costs", reason="monthly charge", **signed)
    assert (money_in("bank"), money_in("costs"), row().how) == (held, -held, How.BOOKED)
    bank.undo_match(source=UUID(int=3), **signed)
    assert (money_in("bank"), row().how) == (0, None)


def test_payout_that_the_processors_files_leave_out_is_booked_and_no_other(bring, signed, owner, noon):
    bring("2026-03-05,payout,40.00\n2026-03-25,payout,40.00\n")
    told = {"from_purse": "cards", "to_purse": "bank", "cents": 4000, "day": date(2026, 3, 12), "at": noon}
    append(moves=[CashMove(**told)], by=owner, at=noon)
    with pytest.raises(Refused, match="The processor's own file tells of this amount"):
        bank.book_row(uuid=uuid4(), row=row(number=3), other="cards", reason="payout", **signed)
    bank.book_row(uuid=uuid4(), row=row(number=2), other="cards", reason="payout", **signed)
    assert (money_in("bank"), money_in("cards"), row(number=2).how) == (8000, -8000, How.BOOKED)


@pytest.mark.parametrize(("other", "reason"), [("players", "x"), ("costs", "")])
def test_booking_needs_a_purse_and_a_reason(bring, signed, other, reason):
    bring("2026-03-05,charge,-4.00\n")
    with pytest.raises(Refused, match="Say what it is"):
        bank.book_row(uuid=uuid4(), row=row(), other=other, reason=reason, **signed)


def test_row_set_aside_moves_nothing(bring, signed):
    bring("2026-03-05,lottery,4.00\n")
    with pytest.raises(Refused, match="Say why"):
        bank.set_aside(uuid=uuid4(), row=row(), reason="", **signed)
    bank.set_aside(uuid=uuid4(), row=row(), reason="mine", **signed)
    assert (money_in("bank"), row().how) == (0, How.ASIDE)


def test_withdrawn_statement_goes_with_its_matches(deposited, bring, signed):
    one = bring("2026-03-05,cash,100.00\n2026-03-06,charge,-4.00\n")
    bank.book_row(uuid=uuid4(), row=row(cents=-400), other="costs", reason="charge", **signed)
    for _ in range(2):
        bank.withdraw_statement(statement=one, **signed)
    assert (queries.rows().count(), Matched.objects.live().count(), money_in("costs")) == (0, 0, 0)
    assert bring("2026-03-05,cash,100.00\n").rows_new == 1  # and can come again


def test_statement_is_withdrawn_by_as_many_questions_however_many_matches_it_has(
    loose, to_bank, bring, signed, django_assert_max_num_queries
):
    asked = []
    for names in ("a", "bcd"):
        for name in names:
            to_bank(loose(10000, name=name, days=ord(name)), at=START + timedelta(days=ord(name) + 1))
        one = bring("".join(f"2026-06-09,{event.key},97.00\n" for event in queries.events(queries.bank_moves())))
        for each, event in zip(queries.unmatched_rows(), queries.unmatched_events(), strict=True):
            facts = {"rows": [each], "events": [event.key], "how": How.NEAR, "reason": "near"}
            bank.match(uuid=uuid4(), **facts, **signed)
        with django_assert_max_num_queries(40) as seen:
            bank.withdraw_statement(statement=one, **signed)
        asked.append(len(seen))
        assert (money_in("over_short"), Matched.objects.live().count()) == (0, 0)
    assert asked[0] == asked[1]


def test_database_refuses_a_row_matched_twice(deposited, bring, owner, noon):
    bring("2026-03-05,cash,100.00\n")
    facts = {"how": How.HAND, "by": owner, "at": noon, "received_at": noon}
    for constraint, wrong in (
        ("matched_once|row_id", {"row": row(), "source": uuid4()}),
        ("names_a_row_or_a_move", {"source": uuid4()}),
        ("has_its_source", {"row": row(), "source": None}),
    ):
        with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
            Matched.objects.create(**facts, **wrong)
    kept = BankRow.objects.get()
    for constraint, wrong in (("is_not_zero", {"cents": 0}), ("counts_once|key", {})):
        kept.pk = None
        kept.__dict__.update(wrong)
        with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
            kept.save()
        kept.cents = 100


# --- pages ---


def test_proposal_is_confirmed_on_the_page(office, deposited, bring):
    bring("2026-03-05,cash,97.50\n")
    page = office.get(reverse("bank"))
    assert "short by $2.50 goes over or short" in words(page)
    event = page.context["proposals"][0].event.key
    office.post(reverse("bank-row-confirm", args=[row().pk]), {"event": event})
    assert row().how == How.NEAR
    assert "Every row of the bank is known" in words(office.get(reverse("bank")))


@pytest.mark.parametrize("event", ["", "\0", "x" * 999])
def test_proposal_that_is_gone_is_told(office, deposited, bring, event):
    bring("2026-03-05,cash,97.50\n")
    answer = office.post(reverse("bank-row-confirm", args=[row().pk]), {"event": event}, follow=True)
    assert "Choose what it is" in words(answer)


def test_row_is_matched_booked_or_set_aside_on_its_page(office, deposited, bring):
    bring("2026-03-25,cash,100.00\n2026-03-26,charge,-4.00\n2026-03-27,mine,7.00\n")
    late, charge, mine = (row(text=text).pk for text in ("cash", "charge", "mine"))
    wrong = office.post(reverse("bank-row-match", args=[late]), {"uuid": uuid4()})
    assert (wrong.status_code, "Choose what it is." in words(wrong)) == (422, True)
    office.post(reverse("bank-row-match", args=[late]), {"uuid": uuid4(), "events": [str(deposited.uuid)]})
    office.post(reverse("bank-row-book", args=[charge]), {"uuid": uuid4(), "other": "costs", "reason": "charge"})
    office.post(reverse("bank-row-aside", args=[mine]), {"uuid": uuid4(), "reason": "mine"})
    assert [row(pk=pk).how for pk in (late, charge, mine)] == [How.HAND, How.BOOKED, How.ASIDE]
    for pk in (late, charge, mine):
        assert office.get(reverse("bank-row", args=[pk])).status_code == 200
        office.post(reverse("bank-row-undo", args=[pk]))
    assert queries.unmatched_rows().count() == 3


def test_statement_is_withdrawn_on_its_page(office, bring):
    one = bring("2026-03-05,cash,97.50\n")
    assert "1</span> new row" in words(office.get(reverse("bank-statement", args=[one.uuid])))
    office.post(reverse("bank-statement-withdraw", args=[one.uuid]))
    assert "Withdrawn" in words(office.get(reverse("bank-statement", args=[one.uuid])))


def test_match_that_no_longer_holds_is_told(office, deposited, bring, signed):
    bring("2026-03-05,charge,-4.00\n")
    bank.book_row(uuid=UUID(int=3), row=row(), other="costs", reason="charge", **signed)
    bank.take_back(sources=[UUID(int=3)], **signed)
    assert "No longer right" in words(office.get(reverse("bank")))


def test_pages_ask_the_database_the_same_at_one_and_three(office, loose, to_bank, bring, django_assert_max_num_queries):
    asked = []
    for number, name in enumerate(("a", "b", "c")):
        to_bank(loose(10000 + number, name=name, days=ord(name)), at=START + timedelta(days=ord(name) + 1))
        bring(f"2026-06-1{number},cash {name},97.0{number}\n")
        if name != "b":
            with django_assert_max_num_queries(40) as seen:
                for address in ("", "?all=1"):
                    office.get(f"{reverse('bank')}{address}")
                office.get(reverse("bank-row", args=[queries.unmatched_rows().first().pk]))
            asked.append(len(seen))
    assert asked[0] == asked[1]
