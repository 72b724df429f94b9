"""From a processor's statement to moves of money, each of them once, and back."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db.models import Sum

from locations.placements.actions import end_placement, withdraw_placement
from locations.placements.models import Placement
from routeapp.cards import actions, queries
from routeapp.cards.models import CardRow, CardStatement
from routeapp.cash import actions_bank as bank
from routeapp.cash.models import CashMove
from routeapp.cash.models_bank import BankRow
from routeapp.kit.errors import Refused
from tests import factories
from tests.cards import desk
from tests.visits.books import FOREVER, START, make_world, purse_balances

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(route_hand):
    return make_world(route_hand)


@pytest.fixture
def machine(world, owner):
    """The first cabinet of the world, with reader R1 in it."""
    machine = world.meters[0].machine
    desk.fit(owner, "R1", machine, factories.LONG_AGO)
    return machine


def moves():
    """What stands: ends, minor units, cabinet, location and day of the moves that nothing reverses."""
    standing = CashMove.objects.standing().order_by("pk")
    names = ("from_purse", "to_purse", "cents", "machine__code", "location__name", "day")
    return [(*row[:5], str(row[5])) for row in standing.values_list(*names)]


def test_sale_goes_to_the_cabinet_its_reader_was_in(world, machine, owner):
    desk.brought(owner, "2026-03-03 02:00:00,r1,2.00,0.11,a")
    here = (machine.code, "Lantern Arcade", "2026-03-02")  # in Chicago it was still the day before
    assert moves() == [("players", "cards", 200, *here), ("cards", "fees", 11, *here)]
    assert queries.held_by_processor() == 189


def test_reader_that_moved_sells_for_the_cabinet_it_was_in_at_that_moment(world, machine, owner):
    other = world.meters[1].machine
    desk.fit(owner, "R1", other, START)
    desk.brought(owner, f"{START - timedelta(seconds=1)},R1,1,0,a", f"{START},R1,3,0,b")
    assert [(move[2], move[3]) for move in moves()] == [(100, machine.code), (300, other.code)]


def test_kinds_of_rows_become_fees_refunds_and_payouts(machine, owner):
    statement = desk.brought(
        owner,
        "2026-03-03 10:00:00,R1,5.00,Vend",
        "2026-03-03 11:00:00,R1,-5.00,Give back",
        "2026-03-04 00:00:00,,-1.25,Monthly fee",
        "2026-03-05 00:00:00,,2.00,Payout",
        "2026-03-05 09:00:00,R1,9.00,Declined",
        head="Date,Reader,Amount,Type",
        columns={"0": "day", "1": "serial", "2": "amount", "3": "kind"},
        kinds={"Vend": "sale", "Give back": "refund"},
    )
    ends = [move[:3] for move in moves()]
    assert ends == [
        ("players", "cards", 500),
        ("cards", "refunds", 500),
        ("cards", "fees", 125),
        ("cards", "bank", 200),
    ]
    assert (statement.found["left_out"], queries.held_by_processor()) == (1, 500 - 500 - 125 - 200)


def test_fees_may_stand_below_zero_and_one_that_was_given_back_above(machine, owner):
    lines = [f"2026-03-03 10:00:0{n},R1,1.00,{fee}," for n, fee in enumerate(("-0.10", "-0.10", "0.04"))]
    desk.brought(owner, *lines)
    assert [move[:3] for move in moves() if "fees" in move] == [
        ("cards", "fees", 10),
        ("cards", "fees", 10),
        ("fees", "cards", 4),
    ]


def test_amount_that_says_its_own_column_once_more_counts_once(machine, owner):
    desk.brought(
        owner,
        "2026-03-03 11:00:00,R1,-5.00,Refund,,5.00,",
        "2026-03-04 00:00:00,,1.25,Fee,1.25,,",
        "2026-03-05 00:00:00,,2.00,Payout,,,2.00",
        "2026-03-06 11:00:00,R1,-3.00,,,3.00,",
        head="Date,Reader,Amount,Type,Fee,Refund,Payout",
        columns={"0": "day", "1": "serial", "2": "amount", "3": "kind", "4": "fee", "5": "refund", "6": "payout"},
    )
    assert [move[:3] for move in moves()] == [
        ("cards", "refunds", 500),
        ("cards", "fees", 125),
        ("cards", "bank", 200),
        ("cards", "refunds", 300),
    ]


LINES = [f"2026-03-03 10:00:0{n},R1,1.00,0.05,{n}" for n in range(4)]


def test_rows_of_two_statements_that_overlap_count_once(machine, owner):
    desk.brought(owner, *LINES[:3])
    second = desk.brought(owner, *LINES[1:], name="april.csv")
    assert (CardRow.objects.count(), queries.held_by_processor()) == (4, 4 * 95)
    assert second.found["same"] == 2


@pytest.mark.parametrize("reference", ["a", ""])
def test_row_is_known_again_when_its_fees_are_told_only_later(machine, owner, reference):
    lines = [f"2026-03-03 10:00:00,R1,{amount},0.05,{reference}" for amount in ("1.00", "-1.00")]
    without = {at: meaning for at, meaning in desk.COLUMNS.items() if meaning != "fee"}
    desk.brought(owner, *lines, columns=without)
    assert desk.brought(owner, *lines, name="with fees.csv").found["same"] == 2
    assert [move[:3] for move in moves()] == [("players", "cards", 100), ("cards", "refunds", 100)]


def test_sale_with_a_number_is_known_again_by_another_of_its_amounts(machine, owner):
    head, columns = "Date,Reader,Gross,Net,Id", {"0": "day", "1": "serial", "4": "reference"}
    for column in ("2", "3"):
        desk.brought(owner, "2026-03-03 10:00:00,R1,1.00,0.95,a", head=head, columns=columns | {column: "amount"})
    assert [move[:3] for move in moves()] == [("players", "cards", 100)]


def test_refunds_that_carry_the_number_of_their_sale_are_kept_apart(machine, owner):
    desk.brought(owner, "2026-03-03 10:00:00,R1,5.00,0,a", "2026-03-03 11:00:00,R1,-1.00,0,a")
    desk.brought(owner, "2026-03-04 11:00:00,R1,-2.00,0,a", name="april.csv")
    assert [move[2] for move in moves()] == [500, 100, 200]


def test_same_statement_brought_twice_changes_nothing(machine, owner):
    statement = desk.brought(owner, *LINES)
    assert actions.bring_in(statement=statement, by=owner, at=FOREVER) == 0
    assert queries.held_by_processor() == 4 * 95


def test_payout_booked_from_the_banks_row_is_not_brought_in_beside_it(machine, owner):
    signed = {"by": owner, "at": FOREVER}
    file = SimpleUploadedFile("bank.csv", b"Date,Description,Amount\n2026-03-06,payout,2.00\n")
    said = {"heading": 1, "columns": {"0": "day", "1": "text", "2": "amount"}, "zone": "UTC", "order": ""}
    taken = bank.take_statement(uuid=uuid4(), file=file, **signed)
    bank.bring_rows(statement=taken, said=said, account="Till", signature="s", **signed)
    source = uuid4()
    bank.book_row(uuid=source, row=BankRow.objects.get(), other="cards", reason="payout", **signed)
    columns = {"0": "day", "1": "serial", "2": "amount", "4": "payout"}
    head = "Date,Reader,Amount,Fee,Payout"
    one = desk.said(owner, "2026-03-03 10:00:00,R1,2.00,,", "2026-03-05,,,,2.00", head=head, columns=columns)

    with pytest.raises(Refused) as refusal:
        actions.bring_in(statement=one, **signed)
    assert refusal.value.message == (
        "Nothing was brought in. Row 3, a payout of $2.00, was booked from the bank's row of 6 March 2026. It would "
        "count twice: undo the match under “Bank” first, then bring this in and match the bank's row to it."
    )
    bank.undo_match(source=source, **signed)
    assert (actions.bring_in(statement=one, **signed), queries.held_by_processor()) == (2, 0)


def test_two_plays_in_one_second_without_a_number_are_two(machine, owner):
    same = "2026-03-03 10:00:00,R1,1.00,0,"
    desk.brought(owner, same, same)
    desk.brought(owner, same, same, name="again.csv")
    assert queries.held_by_processor() == 200


def test_withdrawn_statement_leaves_nothing_but_its_history(machine, owner):
    statement = desk.brought(owner, *LINES)
    actions.withdraw(statement=statement, by=owner, at=FOREVER)
    assert (moves(), purse_balances(), CashMove.objects.count()) == ([], {}, 16)
    with pytest.raises(Refused, match="not in the books"):
        actions.withdraw(statement=statement, by=owner, at=FOREVER)
    assert actions.bring_in(statement=statement, by=owner, at=FOREVER) == 4
    assert queries.held_by_processor() == 4 * 95


def test_rows_of_a_withdrawn_statement_come_back_by_another_that_has_them_too(machine, owner):
    first, second = desk.brought(owner, *LINES[:2]), desk.brought(owner, *LINES, name="all.csv")
    actions.withdraw(statement=first, by=owner, at=FOREVER)
    assert queries.held_by_processor() == 2 * 95
    assert actions.bring_in(statement=second, by=owner, at=FOREVER) == 2
    assert queries.held_by_processor() == 4 * 95


def test_sale_of_an_unknown_reader_waits_until_its_cabinet_is_told(world, owner):
    desk.brought(owner, "2026-03-03 10:00:00,R7,2.00,0.10,a")
    assert [one["serial"] for one in queries.waiting_by_reader()] == ["R7"]
    assert [move[:4] for move in moves()] == [("cards", "fees", 10, None)]
    machine = world.meters[0].machine
    fitted = desk.fit(owner, "r 7", machine, factories.LONG_AGO)
    assert [(move[2], move[3]) for move in moves()] == [(200, machine.code), (10, machine.code)]
    assert queries.waiting_by_reader() == []
    actions.withdraw_reader_move(move=fitted, by=owner, at=FOREVER)
    assert [one["cents"] for one in queries.waiting_by_reader()] == [200]
    assert queries.held_by_processor() == -10


def test_sale_waits_while_its_cabinet_stood_nowhere_and_is_found_again(world, owner):
    spare = factories.MachineFactory()
    desk.fit(owner, "R9", spare, factories.LONG_AGO)
    desk.brought(owner, "2026-03-03 10:00:00,R9,2.00,0,a")
    assert actions.match_again(by=owner, at=FOREVER) == 0
    factories.PlacementFactory(machine=spare, location=world.location)
    assert actions.match_again(by=owner, at=FOREVER) == 1
    assert moves()[0][:4] == ("players", "cards", 200, spare.code)


def test_sale_leaves_the_location_its_cabinet_had_left_when_that_is_told_late(world, machine, owner):
    desk.brought(owner, f"{START + timedelta(days=2)},R1,2.00,0.10,a", f"{START - timedelta(days=2)},R1,5.00,0,b")
    stay = Placement.objects.get(machine=machine)
    end_placement(placement=stay, by=owner, at=START, received_at=FOREVER)
    assert (actions.match_again(by=owner, at=FOREVER), queries.astray().count()) == (1, 0)
    assert [move[:5] for move in moves()] == [
        ("players", "cards", 500, machine.code, "Lantern Arcade"),
        ("cards", "fees", 10, None, None),
    ]
    there = factories.PlacementFactory(machine=machine, started_at=START + timedelta(days=1)).location
    assert actions.match_again(by=owner, at=FOREVER) == 1
    assert [move[4] for move in moves()] == ["Lantern Arcade", there.name, there.name]


def test_sale_leaves_the_location_at_which_its_cabinet_never_stood(world, machine, owner):
    desk.brought(owner, f"{START},R1,2.00,0,a")
    stay = Placement.objects.get(machine=machine)
    withdraw_placement(placement=stay, reason="the other arcade", by=owner, at=FOREVER)
    assert (queries.astray().count(), actions.match_again(by=owner, at=FOREVER), moves()) == (1, 1, [])
    assert queries.waiting().count() == 1


def test_sale_matched_by_hand_stays_so_whatever_is_said_about_its_reader(world, owner):
    desk.brought(owner, "2026-03-03 10:00:00,R7,2.00,0,a")
    one, other = (meter.machine for meter in world.meters)
    actions.match_row(row=CardRow.objects.get(), machine=one, by=owner, at=FOREVER)
    desk.fit(owner, "R7", other, factories.LONG_AGO)
    assert [(move[2], move[3]) for move in moves()] == [(200, one.code)]
    with pytest.raises(Refused, match="stood nowhere"):
        actions.match_row(row=CardRow.objects.get(), machine=factories.MachineFactory(), by=owner, at=FOREVER)


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("2026-03-03 10:00:00,R1,one,0,a", "“one” is not an amount. Write it like 12.50."),
        ("2026-03-03 10:00:00,R1,€ 2,0,a", "“€ 2” is in another currency; the books are kept in USD."),
        ("2026-03-03 10:00:00,R1,2 CAD,0,a", "“2 CAD” is in another currency; the books are kept in USD."),
        (",R1,1.00,0,a", "An amount stands here, but no day."),
        ("2026-03-03 10:00:00,,1.00,0,a", "A sale of $1.00 stands here, but no serial number of a reader."),
        ("2026-03-03 10:00:00,R1,99999999,0,a", "That amount is too large to be meant."),
        ("0001-01-01 00:00:00,R1,1,0,a", "“0001-01-01 00:00:00” lies outside the years 2000 to 2099."),
        ("2026-03-01 10:00:00,R1,1,0,a", ""),
    ],
)
def test_every_problem_is_told_by_its_row_and_nothing_is_brought(machine, owner, line, problem):
    statement = desk.said(owner, "2026-03-03 10:00:00,R1,1.00,0,x", line)
    told = [text for row, _, text in statement.found["problems"] if row == 3]
    assert told == ([problem] if problem else [])
    if problem:
        with pytest.raises(Refused, match="Nothing was brought in"):
            actions.bring_in(statement=statement, by=owner, at=FOREVER)
        assert not CardRow.objects.exists()


def test_other_currency_is_refused_in_words(machine, owner):
    columns = {"0": "day", "1": "serial", "2": "amount", "3": "currency"}
    rows = ("2026-03-03,R1,1.00,usd", "2026-03-03,R1,1.00,EUR")
    statement = desk.said(owner, *rows, head="Date,Reader,Amount,Currency", columns=columns)
    expected = "This row is in EUR; the books are kept in USD. Leave it out of the file."
    assert statement.found["problems"] == [[3, "D", expected]]


def test_statement_told_anew_meanwhile_is_looked_at_again(machine, owner):
    seen = desk.said(owner, *LINES)
    actions.say(statement=CardStatement.objects.get(), said=seen.said | {"zone": "Asia/Tokyo"}, by=owner, at=FOREVER)
    with pytest.raises(Refused, match="Somebody said meanwhile what its columns mean"):
        actions.bring_in(statement=seen, by=owner, at=FOREVER)
    assert moves() == []


def test_row_of_a_day_still_to_come_is_refused(machine, owner):
    statement = desk.said(owner, "2026-12-03,R1,1.00,0,a", at=START)
    assert "still to come" in statement.found["problems"][0][2]


def test_statement_tells_until_the_end_of_its_last_day_but_not_beyond_its_coming(machine, owner):
    whole = desk.brought(owner, "2026-03-03 10:00:00,R1,1.00,0,a", zone="America/Chicago")
    assert whole.until.isoformat() == "2026-03-04T06:00:00+00:00"
    early = desk.brought(owner, "2026-03-02 09:00:00,R1,1.00,0,b", at=START)
    assert early.until == START


def test_columns_are_remembered_by_their_headings(machine, owner):
    first = desk.said(owner, *LINES, zone="America/Chicago")
    second = desk.take_file(owner, *LINES)
    assert queries.said_before(second.signature, second.pk) == first.said
    other = desk.take_file(owner, "2026-03-03,R1,1", head="Day,Device,Sum")
    assert queries.said_before(other.signature, other.pk) == {}


def test_large_statement_is_brought_in_with_the_same_queries(machine, owner, django_assert_max_num_queries):
    few = desk.said(owner, *[f"2026-03-03 10:00:00,R1,1.00,0.05,{n}" for n in range(3)])
    many = desk.said(owner, *[f"2026-03-04 10:00:00,R1,1.00,0.05,{n}b" for n in range(300)])
    for statement in (few, many):
        with django_assert_max_num_queries(22):
            actions.bring_in(statement=statement, by=owner, at=FOREVER)
    assert CashMove.objects.filter(to_purse="cards").aggregate(all=Sum("cents"))["all"] == 30_300
