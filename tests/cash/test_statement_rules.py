"""A bank's file on paper: what its columns mean and what its rows say, however the bank writes them."""

from datetime import date
from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from routeapp.cash import rules_statement
from routeapp.cash.forms_bank import StatementColumnsForm
from routeapp.cash.rules_statement import VOCABULARY, WAY_OF, Row, guess
from routeapp.kit.reading.forms import from_kept
from routeapp.kit.reading.sheet import Sheet
from routeapp.kit.reading.statement import Look, Problem, Said

TWO_COLUMNS = {0: "day", 1: "text", 2: "money_out", 3: "money_in"}
ONE_COLUMN = {0: "day", 1: "text", 2: "amount", 3: "currency"}


def found(*rows, columns=ONE_COLUMN, ways=WAY_OF):
    sheet = Sheet("s", lambda: iter(enumerate([["heading"], *map(list, rows)], start=1)))
    return rules_statement.rows_of(sheet, Said(1, columns, "America/Chicago", "day"), ways)


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
        *(("12,-", 1200), ("12,–", 1200), ("12.--", 1200), ("-12,-", -1200), ("4.00 c", 400)),
    ],
)
def test_amount_is_read_as_banks_write_it(written, cents):
    assert [row.cents for row in found(("2026-03-09", "x", written, "")).rows] == [cents]


@pytest.mark.parametrize("written", ["+-4.00", "4.00 NOV 2026", "(4.00", "--4.00", "25c"])
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
    first, second = rules_statement.keys([row, row], "Till")
    assert first != second
    assert rules_statement.keys([Row(9, row.day, 500, "coins")], "till") == [first]
    assert rules_statement.keys([row], "other") != [first]


WITH_WORDS = {0: "day", 1: "text", 2: "amount", 3: "way"}


def test_word_beside_an_amount_says_which_way_it_went():
    rows = ("09.03.2026", "charge", "4.00", "DR"), ("09.03.2026", "cash", "12", "Cr."), ("09.03.2026", "x", "0", "")
    said = found(*rows, columns=WITH_WORDS)
    assert ([row.cents for row in said.rows], said.left_out) == ([-400, 1200], 1)


def test_word_can_mean_what_a_person_says():
    said = found(("09.03.2026", "x", "4.00", "Ausgang"), columns=WITH_WORDS, ways={"ausgang": "out"})
    assert [row.cents for row in said.rows] == [-400]


def test_amount_without_its_word_is_a_problem():
    said = found(("09.03.2026", "x", "4.00", ""), ("09.03.2026", "y", "4.00", "?"), columns=WITH_WORDS)
    why = "An amount stands here, but not whether it came in or went out."
    assert said.problems == [Problem(2, "", why), Problem(3, "", why)]


@pytest.mark.parametrize(
    ("rows", "cents"),
    [
        ((("", "12.00"), ("", "-5.00"), ("4.00", "")), [1200, -500, -400]),
        ((("", "-5.00"),), [-500]),  # money in that was taken back
        ((("4.00", ""), ("4.00", ""), ("-4.00", "")), [-400, -400, 400]),  # a charge that was given back
        ((("-4.00", ""), ("(4.00)", ""), ("4.00", "")), [-400, -400, 400]),
    ],
)
def test_minus_in_a_column_for_one_way_is_the_other_way(rows, cents):
    said = found(*(("09.03.2026", "x", *each) for each in rows), columns=TWO_COLUMNS)
    assert [row.cents for row in said.rows] == cents


@pytest.mark.parametrize(
    ("headings", "rows", "meanings"),
    [
        ("Date,Narrative,Debit Amount,Credit Amount,Balance", "a,b,1,,9", "day text money_out money_in"),
        ("Transaction Date,Details,Withdrawals ($),Deposits ($)", "a,b,1,", "day text money_out money_in"),
        ("Day,Memo,Out,In", "a,b,1,", "day text money_out money_in"),
        ("Date,Text,Amount,Debit,Credit", "a,b,1,1,", "day text - money_out money_in"),
        ("Date,Text,Amount in USD,Balance in USD", "a,b,1,9", "day text amount"),
        ("Date,Credit card,Amount", "a,b,1", "day - amount"),
        ("Date,Details,Amount,Dr/Cr", "a,b,1,DR", "day text amount way"),
        ("Date,Details,Amount,Type", "a,b,1,CREDIT;a,b,1,DEBIT", "day text amount way"),
        ("Date,Details,Amount,Type", "a,b,1,Standing order", "day text amount"),
        ("Date,Details,Amount,Status", "a,b,1,Paid", "day text amount"),
        ("Date,Details,Amount,Category", "a,b,1,#N/A", "day text amount"),
        ("Date,Details,Amount,+/-", "a,b,1,+;a,b,1,-", "day text amount way"),
        ("Date,Details,Debit/Credit", "a,b,-1.00", "day text amount"),
        ("Date,Details,Amount,Debit/Credit", "a,b,-1.00,Till", "day text amount"),
        ("Buchungstag,Verwendungszweck,Betrag,Soll/Haben", "a,b,1,S", "day text amount way"),
        ("Fecha,Concepto,Cargo,Abono", "a,b,1,", "day text money_out money_in"),
        ("Datum,Omschrijving,Bedrag,Af Bij", "a,b,1,Af", "day text amount way"),
    ],
)
def test_columns_are_guessed_by_common_headings_and_by_what_they_hold(headings, rows, meanings):
    width, said = len(headings.split(",")), guess(headings.split(","), [row.split(",") for row in rows.split(";")])
    assert " ".join(said.get(at, "-") for at in range(width)).rstrip(" -") == meanings


@pytest.mark.parametrize(("said", "way"), [({}, "c1"), ({"look": "1"}, "c3")])
def test_statement_is_read_no_further_than_its_words_need(said, way):
    def rows():
        yield 1, ["Date", "Details", "Amount", "D/C"]
        yield from ((row, ["2026-03-09", f"row {row}", "4.00", "CR"]) for row in range(2, 100))
        pytest.fail("read on")

    look = Look(Sheet("s", rows), list(islice(rows(), 60)), 1)
    sent = {"c0": "day", "c2": "amount", way: "way"} | said
    form = StatementColumnsForm(sent, look=look, vocabulary=VOCABULARY, remembered={"zone": "UTC"})
    assert (form.words, form.is_wordy) == (([], True) if way == "c1" else (["cr"], False))


# --- the same rows, however they are written ---


def _plain(cents):
    return f"{cents // 100}.{cents % 100:02d}"


def _grouped(cents):
    return f"{cents // 100:,}.{cents % 100:02d}"


def _comma(cents):
    return f"{cents // 100:,}.{cents % 100:02d}".translate(str.maketrans(",.", ".,"))


OUT = {"minus": "-{}", "behind": "{}-", "long": "−{}", "brackets": "({})", "debit": "{} DR", "d": "{}D"}
IN = {"minus": "{}", "behind": "{}", "long": "+{}", "brackets": "{}", "debit": "{} CR", "d": "{}C"}


def one_column(number, style):
    cells = lambda cents: [(OUT if cents < 0 else IN)[style].format(number(abs(cents)))]  # noqa: E731
    return ["Amount"], cells


def two_columns(number, style):
    out = OUT[style] if style in ("minus", "behind", "brackets") else "{}"  # or no sign at all
    cells = lambda cents: [out.format(number(-cents)), ""] if cents < 0 else ["0,00", number(cents)]  # noqa: E731
    return ["Debit", "Credit"], cells


def with_word(number, style):
    words = {"minus": "DC", "behind": ("DR", "CR"), "long": ("Debit", "Credit"), "brackets": "-+"}.get(style, "SH")
    sign = "-{}" if style == "minus" else "{}"  # some say it twice
    cells = lambda cents: [(sign if cents < 0 else "{}").format(number(abs(cents))), words[cents > 0]]  # noqa: E731
    return ["Amount", "D/C"], cells


AMOUNTS = st.integers(1, 999_999_99) | st.integers(-999_999_99, -1)


@settings(max_examples=100)
@given(
    amounts=st.lists(AMOUNTS, min_size=1, max_size=8),
    written=st.sampled_from([one_column, two_columns, with_word]),
    number=st.sampled_from([_plain, _grouped, _comma]),
    style=st.sampled_from(list(OUT)),
)
def test_same_rows_read_the_same_however_they_are_written(amounts, written, number, style):
    headings, cells = written(number, style)
    rows = [
        ["Date", "Details", *headings],
        *(["2026-03-09", f"row {at}", *cells(one)] for at, one in enumerate(amounts)),
    ]
    top = list(enumerate(rows, start=1))
    look = Look(Sheet("s", lambda: iter(top)), top, 1)
    shown = StatementColumnsForm(look=look, vocabulary=VOCABULARY, remembered={"zone": "UTC", "account": "Till"})
    sent = {name: shown[name].value() or "" for name in shown.fields}
    form = StatementColumnsForm(sent, look=look, vocabulary=VOCABULARY, remembered={"zone": "UTC"})
    assert form.errors == {}
    kept = form.kept()
    said = rules_statement.rows_of(look.sheet, from_kept(kept), kept["ways"])
    day = date(2026, 3, 9)
    assert said.rows == [Row(at + 2, day, one, f"row {at}") for at, one in enumerate(amounts)]
    assert form.as_read().rows == shown.as_read().rows == said.rows
