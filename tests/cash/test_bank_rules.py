"""A bank's file on paper: what its rows say, and which move each probably is."""

from datetime import date

import pytest

from routeapp.cash import rules_bank
from routeapp.cash.rules_bank import Row, Side
from routeapp.kit.reading.sheet import Sheet
from routeapp.kit.reading.statement import Problem, Said

TWO_COLUMNS = {0: "day", 1: "text", 2: "money_out", 3: "money_in"}
ONE_COLUMN = {0: "day", 1: "text", 2: "amount", 3: "currency"}


def found(*rows, columns=ONE_COLUMN):
    sheet = Sheet("s", lambda: iter(enumerate([["heading"], *map(list, rows)], start=1)))
    return rules_bank.rows_of(sheet, Said(1, columns, "America/Chicago", "day"))


def test_amount_in_one_column_has_its_sign():
    said = found(("2026-03-09", "cash in", "1,204.50", ""), ("2026-03-10", "charge", "-4.00", "USD"))
    assert said.problems == []
    assert said.rows == [Row(2, date(2026, 3, 9), 120450, "cash in"), Row(3, date(2026, 3, 10), -400, "charge")]


@pytest.mark.parametrize("out", ["4.00", "-4.00", "(4.00)"])
def test_money_out_is_below_zero_however_the_bank_writes_it(out):
    said = found(("09.03.2026", "charge", out, ""), ("09.03.2026", "cash", "", "12"), columns=TWO_COLUMNS)
    assert [row.cents for row in said.rows] == [-400, 1200]


@pytest.mark.parametrize(
    ("written", "cents"),
    [
        *(("+4.00", 400), ("+1,204.50", 120450), ("1’204.50", 120450), ("$ 4.00", 400), ("(USD 4.00)", -400)),
        *(("–4.00", -400), ("4.00–", -400), ("$(4.00)", -400), ("($4.00)", -400), ("(4.00 USD)", -400)),
    ],
)
def test_amount_is_read_as_banks_write_it(written, cents):
    assert [row.cents for row in found(("2026-03-09", "x", written, "")).rows] == [cents]


@pytest.mark.parametrize("written", ["+-4.00", "4.00 NOV 2026", "(4.00", "--4.00"])
def test_amount_with_odd_signs_is_none(written):
    assert found(("2026-03-09", "x", written, "")).wrong == 1


def test_row_without_an_amount_is_left_out():
    said = found(("2026-03-09", "brought forward", "", ""), ("", "", "0.00", ""))
    assert (said.rows, said.problems, said.left_out) == ([], [], 2)


@pytest.mark.parametrize(
    ("row", "column", "text"),
    [
        (
            ("2026-03-09", "x", "12.00", "EUR"),
            "D",
            "This row is in EUR; the books are kept in USD. Leave it out of the file.",
        ),
        (("2026-03-09", "x", "€12.00", ""), "C", "“€12.00” is in another currency; the books are kept in USD."),
        (("2026-03-09", "x", "GBP 12.00", ""), "C", "“GBP 12.00” is in another currency; the books are kept in USD."),
    ],
)
def test_other_currency_is_told(row, column, text):
    assert found(row).problems == [Problem(2, column, text)]


@pytest.mark.parametrize("code", ["USD", "usd", "$", ""])
def test_own_currency_is_no_other(code):
    assert found(("2026-03-09", "x", "$12.00", code)).problems == []


@pytest.mark.parametrize("amount", ["twelve", "1.234", "9" * 30])
def test_amount_that_cannot_be_read_is_a_problem(amount):
    assert len(found(("2026-03-09", "x", amount, "")).problems) == (0 if amount == "1.234" else 1)


def test_rows_that_say_the_same_keep_apart_and_are_known_again():
    row = Row(2, date(2026, 3, 9), 500, "coins")
    first, second = rules_bank.keys([row, row], "Till")
    assert first != second
    assert rules_bank.keys([Row(9, row.day, 500, "coins")], "till") == [first]
    assert rules_bank.keys([row], "other") != [first]


def side(key, day, cents):
    return Side(key, date(2026, 3, day), cents)


def pairs(of, rows, events):
    return {row.key: event.key for row, event in of(rows, events)}


def test_exact_takes_the_nearest_day_and_each_once():
    events = [side("a", 2, 500), side("b", 9, 500), side("c", 9, 700)]
    rows = [side(1, 3, 500), side(2, 10, 500), side(3, 20, 700)]
    assert pairs(rules_bank.exact, rows, events) == {1: "a", 2: "b"}


@pytest.mark.parametrize(("day", "fits"), [(8, False), (9, True), (10, True), (17, True), (18, False)])
def test_exact_reaches_from_the_day_before_to_a_week_after(day, fits):
    assert bool(rules_bank.exact([side(1, day, 500)], [side("a", 10, 500)])) is fits


@pytest.mark.parametrize(
    ("cents", "fits"), [(9500, True), (9499, False), (10500, True), (10501, False), (-10000, False)]
)
def test_near_is_within_five_percent_or_five_whole_units(cents, fits):
    assert bool(rules_bank.near([side(1, 12, cents)], [side("a", 10, 10000)])) is fits
