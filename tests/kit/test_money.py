"""Amounts as people type and read them, rounded and split without losing a cent."""

from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeapp.kit import money

CODES = ["USD", "EUR", "GBP", "JPY", "KWD", "SEK"]  # two decimals, none, three; a sign, a word
amounts = st.integers(1 - 10**12, 10**12 - 1)  # twelve digits, the most that are read


@pytest.mark.parametrize(
    ("typed", "cents"),
    [
        ("12.50", 1250),
        ("12,50", 1250),
        ("12.5", 1250),
        ("12.", 1200),
        ("12", 1200),
        (".50", 50),
        ("0", 0),
        ("007", 700),
        ("$1,234.50", 123450),
        ("1.234,50 ", 123450),
        ("1 234,50", 123450),
        ("1'234.50", 123450),
        ("1,234", 123400),
        ("1.234", 123400),
        ("1.234.567", 123456700),
        ("−$3.00", -300),
        ("-3", -300),
        ("999999999999", 99999999999900),
        ("٣", 300),
        ("180,-", 18000),
        ("1.180,–", 118000),
        ("5.--", 500),
    ],
)
def test_amount_is_read_as_it_was_meant(typed, cents):
    assert money.parse(typed, "USD") == cents


@pytest.mark.parametrize(
    "typed",
    [
        "",
        " ",
        "-",
        ".",
        ",",
        "$",
        "abc",
        "1..2",
        "1.2.3",
        "1,23,456",
        "1.234,567.89",
        "--1",
        "1-",
        ",-",
        "1,5-",
        "1e5",
        "NaN",
        "∞",
        "1\x00",
    ]
    + ["9" * 13, "9" * 5000, "½", "1;5"],
)
def test_what_is_no_amount_is_refused_with_an_example(typed):
    with pytest.raises(ValueError, match="is not an amount. Write it like 12.50"):
        money.parse(typed, "USD")


@pytest.mark.parametrize(
    ("typed", "code"), [("0.125", "USD"), ("1234.567", "USD"), ("1,234.567", "USD"), ("1.5", "JPY"), ("1.2345", "KWD")]
)
def test_more_decimals_than_the_currency_has_are_refused_not_cut(typed, code):
    with pytest.raises(ValueError, match="more decimals than"):
        money.parse(typed, code)


def test_currency_with_three_decimals_reads_its_point():
    assert money.parse("1.234", "KWD") == 1234
    assert money.parse("1,234", "KWD") == 1234000


@given(cents=amounts, code=st.sampled_from(CODES))
def test_amount_that_was_shown_can_be_typed_again(cents, code):
    assert money.parse(money.as_input(cents, code), code) == cents
    if abs(cents) < 10**9:
        assert money.parse(money.as_text(cents, code), code) == cents


def is_read_or_refused_in_words(text):
    try:
        return isinstance(money.parse(text), int)
    except ValueError as refusal:
        return str(refusal).startswith("“")


@given(text=st.text(max_size=30) | st.text(alphabet="0123456789.,-−$ '", max_size=12))
def test_any_text_is_read_or_refused(text):
    assert is_read_or_refused_in_words(text)


@pytest.mark.parametrize(
    ("cents", "code", "text"),
    [
        (123450, "USD", "$1,234.50"),
        (-300, "USD", "−$3.00"),
        (5, "EUR", "€0.05"),
        (1234, "JPY", "¥1,234"),
        (1234, "KWD", "KWD1.234"),
        (0, "GBP", "£0.00"),
    ],
)
def test_amount_is_shown_with_its_sign_and_decimals(cents, code, text):
    assert money.as_text(cents, code) == text


def test_half_is_rounded_away_from_zero():
    # 0.125 → 0.13 commercially, 0.12 by the banker's rule; the float 2.675 lies below its text (recomputed).
    assert money.half_up(Decimal("12.5")) == money.half_up(Fraction(25, 2)) == 13
    assert money.half_up(Decimal("-12.5")) == money.half_up(Fraction(-25, 2)) == -13
    assert Decimal("12.5").quantize(Decimal(1), rounding=ROUND_HALF_EVEN) == 12
    assert money.half_up(Decimal("2.675") * 100) == 268
    assert round(2.675, 2) == 2.67


@given(above=st.integers(-(10**9), 10**9), below=st.integers(1, 10**6))
def test_rounding_is_never_off_by_more_than_half(above, below):
    value = Fraction(above, below)
    assert abs(money.half_up(value) - value) <= Fraction(1, 2)
    assert money.half_up(-value) == -money.half_up(value)


def test_split_gives_the_seats_of_the_1790_apportionment():
    # Hamilton's method for 60 seats, populations of 1790: electowiki.org, "Hamilton method", revision 9372.
    populations = [630560, 475327, 432879, 353523, 331589, 278514, 236841, 206236, 179570, 141822]  # VA to NH
    populations += [85533, 70835, 68705, 68446, 55540]  # VT, GA, KY, RI, DE
    assert sum(populations) == 3615920
    assert money.split(60, populations) == [11, 8, 7, 6, 6, 5, 4, 3, 3, 2, 1, 1, 1, 1, 1]


def test_split_may_give_less_of_more():
    # The Alabama paradox, worked out by hand: shares 4.29, 4.29, 1.43 of 10 and 4.71, 4.71, 1.57 of 11.
    assert money.split(10, [6, 6, 2]) == [4, 4, 2]
    assert money.split(11, [6, 6, 2]) == [5, 5, 1]


weights = st.lists(st.integers(0, 10**9), min_size=1, max_size=20)


@given(total=amounts, weights=weights)
def test_split_hands_out_every_cent_and_nobody_is_off_by_one(total, weights):
    parts = money.split(total, weights)

    assert sum(parts) == total
    base = sum(weights) or len(weights)
    shares = [Fraction(total * (weight if sum(weights) else 1), base) for weight in weights]
    assert all(abs(part - share) < 1 for part, share in zip(parts, shares, strict=True))


@given(total=amounts, weights=weights)
def test_split_of_a_debt_mirrors_that_of_a_gain(total, weights):
    assert money.split(-total, weights) == [-part for part in money.split(total, weights)]


def test_ties_go_to_the_earlier_place():
    assert money.split(5, [1, 1]) == [3, 2]
    assert money.split(1, [0, 0, 0]) == [1, 0, 0]


@pytest.mark.parametrize("weights", [[], [1, -1]])
def test_split_without_sense_is_refused(weights):
    with pytest.raises(ValueError, match="at least one weight"):
        money.split(10, weights)
