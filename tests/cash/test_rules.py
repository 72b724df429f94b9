"""Coins by weight, and counts in words, on paper."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeapp.cash import rules

# US Mint, Coin Specifications: usmint.gov/learn/coin-and-medal-programs/coin-specifications
US_MINT = {1: "2.500", 5: "5.000", 10: "2.268", 25: "5.670", 50: "11.340", 100: "8.1"}
# Council Regulation (EC) No 975/98: 2, 1 and 0.50; the others from euros.monedas.dx.am/coins.htm
EURO = {1: "2.30", 2: "3.06", 5: "3.92", 10: "4.10", 20: "5.74", 50: "7.80", 100: "7.50", 200: "8.50"}
# copescoins.com, "How much does my coin weigh?"; 1 pound also quick-advices.com
STERLING = {1: "3.56", 2: "7.12", 5: "3.25", 10: "6.50", 20: "5.00", 50: "8.00", 100: "8.75", 200: "12.00"}

# Reserve Bank of New Zealand and Royal Australian Mint, coin specifications
NEW_ZEALAND = {10: "3.30", 20: "4.00", 50: "5.00", 100: "8.00", 200: "10.00"}
AUSTRALIA = {5: "2.83", 10: "5.65", 20: "11.30", 50: "15.55", 100: "9.00", 200: "6.60"}
MINTS = [("USD", US_MINT), ("EUR", EURO), ("GBP", STERLING), ("NZD", NEW_ZEALAND), ("AUD", AUSTRALIA)]


def coin(cents, currency="USD"):
    return next(one for one in rules.denominations(currency) if one.coin and one.cents == cents)


@pytest.mark.parametrize(("currency", "masses"), MINTS)
def test_masses_are_those_that_the_mints_publish(currency, masses):
    coins = {one.cents: one.grams for one in rules.denominations(currency) if one.coin}
    assert coins == {cents: Decimal(grams) for cents, grams in masses.items()}


def test_thousand_quarters_weigh_5670_grams():
    # ask.com/science, "How much does a roll of quarters weigh"
    assert rules.by_weight(Decimal(5670), coin(25)) == rules.Weighed(1000, Decimal(0))


@pytest.mark.parametrize("cents", [10, 25, 50])
def test_dollar_in_dimes_quarters_or_halves_weighs_the_same(cents):
    # 22.68 g per $1 in any mix, recomputed from the Mint's table; "$20 a pound" at solsarin.com
    assert coin(cents).grams * (100 // cents) == Decimal("22.680")


@pytest.mark.parametrize(
    ("cents", "roll", "grams"),
    [(1, 50, "125"), (5, 40, "200"), (10, 50, "113.4"), (25, 40, "226.8"), (50, 20, "226.8")],
)
def test_roll_of_us_coins_is_counted(cents, roll, grams):
    # Pieces a roll: ndasignal.com, "Standard roll and coin specifications"; grams recomputed
    assert rules.by_weight(Decimal(grams), coin(cents)).pieces == roll


@pytest.mark.parametrize(("small", "large"), [(1, 2), (5, 10)])
def test_uk_coins_made_in_one_ratio_weigh_by_worth(small, large):
    # 1p to 2p and 5p to 10p are 1 to 2 by design, recomputed from the table
    assert coin(large, "GBP").grams == 2 * coin(small, "GBP").grams


def test_scale_that_is_off_says_by_how_much():
    found = rules.by_weight(Decimal("1001.2"), coin(25))
    assert (found.pieces, found.off_grams, found.words()) == (177, Decimal("-2.390"), "2.39 g under")
    assert rules.by_weight(Decimal("1003.6"), coin(25)).words() == "0.01 g over"
    assert rules.by_weight(Decimal("56.70"), coin(25)).words() == "to the gram"


def test_half_a_coin_too_much_counts_as_one_more():
    assert rules.by_weight(Decimal("2.835"), coin(25)).pieces == 1
    assert rules.by_weight(Decimal("2.834"), coin(25)).pieces == 0


@given(pieces=st.integers(0, 20000), currency=st.sampled_from([currency for currency, _ in MINTS]), data=st.data())
def test_exact_weight_gives_the_pieces_back(pieces, currency, data):
    one = data.draw(st.sampled_from([one for one in rules.denominations(currency) if one.coin]))
    assert rules.by_weight(pieces * one.grams, one) == rules.Weighed(pieces, Decimal(0))


@given(grams=st.decimals(0, 100000, places=2))
def test_scale_is_never_off_by_more_than_half_a_coin(grams):
    assert abs(rules.by_weight(grams, coin(25)).off_grams) <= coin(25).grams / 2


def test_notes_and_weights_below_zero_cannot_be_weighed():
    note = next(one for one in rules.denominations("USD") if not one.coin)
    with pytest.raises(ValueError, match="Only coins"):
        rules.by_weight(Decimal(10), note)
    with pytest.raises(ValueError, match="below zero"):
        rules.by_weight(Decimal(-1), coin(25))


def test_sum_of_a_count_by_coin_and_note():
    assert rules.total({"c25": 101, "n100": 12, "n2000": 3}, "USD") == 2525 + 1200 + 6000
    with pytest.raises(KeyError):
        rules.total({"c3": 1}, "USD")


def test_currency_without_a_table_can_only_be_summed():
    assert rules.denominations("SEK") == []


def test_count_of_a_bag_is_shared_out_by_what_meters_said():
    assert rules.share_out(10000, [6000, 3000, 1000]) == [6000, 3000, 1000]
    assert rules.share_out(10001, [1, 1, 1]) == [3334, 3334, 3333]
    assert rules.share_out(5, [0, 0]) == [3, 2]


@pytest.mark.parametrize(
    ("counted", "noted", "estimates", "difference"),
    [(9700, 10000, [], -300), (10000, 0, [6000, 3700], 300), (500, 500, [], 0), (500, 0, [500, 0], None)],
)
def test_difference_is_against_what_was_noted_and_what_meters_said(counted, noted, estimates, difference):
    assert rules.difference(counted, noted, estimates) == difference


def test_pieces_of_a_count_leave_out_what_the_currency_lacks():
    assert rules.pieces({"n500": 2, "c25": 40, "c3": 9, "c1": 0}, "USD") == [(40, 25), (2, 500)]
