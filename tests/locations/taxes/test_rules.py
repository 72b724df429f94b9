"""Tax inside the price, against published divisors. Amounts in cents."""

from datetime import date

import pytest

from locations.taxes.rules import Rule, TaxBook, inside, tax_lines
from locations.taxes.rules_published import PUBLISHED


def rule(millionths, how="divisor", treatment="amusement", valid_from=date(2024, 1, 1), valid_to=None):
    return Rule("Port County", treatment, valid_from, valid_to, how, millionths, "county order 12")


# Divisors: Fla. Admin. Code 12A-15.011 (coin-operated amusement: 4 % and county surtax); nets worked out by hand.
@pytest.mark.parametrize(
    ("gross", "divisor", "net", "tax"),
    [
        (104_000, 1_040_000, 100_000, 4_000),
        (50_000, 1_050_000, 47_619, 2_381),
        (100_000, 1_045_000, 95_694, 4_306),
        (123_450, 1_060_000, 116_462, 6_988),
    ],
)
def test_tax_by_a_published_divisor(gross, divisor, net, tax):
    line = inside(gross, rule(divisor))
    assert (line.net, line.tax, line.source) == (net, tax, "county order 12")


# Fla. Admin. Code 12A-15.011: amusement and vending of other goods.
def test_published_divisors_are_those_of_the_code():
    by_treatment = {
        treatment: [one.millionths / 1e6 for one in PUBLISHED if one.treatment == treatment]
        for treatment in ("amusement", "goods")
    }
    assert by_treatment == {
        "amusement": [1.04, 1.0425, 1.045, 1.0475, 1.05, 1.0525, 1.055, 1.0575, 1.06],
        "goods": [1.0659, 1.0707, 1.0749, 1.0833],
    }
    assert {one.source for one in PUBLISHED} == {"Fla. Admin. Code 12A-15.011, text current to September 2024"}
    assert len({one.key for one in PUBLISHED}) == len(PUBLISHED)


def test_a_rate_inside_the_price_is_not_a_rate_on_top():
    assert inside(10_400, rule(40_000, "rate")).tax == 400
    assert inside(100, rule(70_000, "rate")) == inside(100, rule(70_000, "rate"))
    assert (inside(100, rule(70_000, "rate")).net, inside(-100, rule(70_000, "rate")).net) == (93, -93)


def test_rules_in_words():
    assert inside(100, rule(1_065_900, treatment="goods")).words == "Port County, sale of goods: divided by 1.0659"
    assert inside(100, rule(88_750, "rate")).words == "Port County, amusement: 8.875 % inside the price"
    assert rule(1_040_000).words == "divided by 1.04"


def test_amounts_of_one_rule_are_rounded_once():
    seven = rule(70_000, "rate")
    assert [line.tax for line in tax_lines([(seven, 50), (None, 1000), (seven, 50)])] == [7]
    assert 2 * inside(50, seven).tax == 6


def test_the_rule_of_a_day_is_the_one_that_started_last_and_has_not_ended():
    old, ended = rule(1_040_000), rule(1_045_000, valid_from=date(2025, 1, 1), valid_to=date(2025, 12, 31))
    goods = rule(1_065_900, treatment="goods")
    book = TaxBook(
        places={1: [(date(2024, 6, 1), 5), (date(2026, 6, 1), None)]},
        cabinets={9: [(date(2025, 6, 1), "goods")]},
        rules={(5, "amusement"): [old, ended], (5, "goods"): [goods]},
    )
    assert book.rule(1, 8, date(2024, 5, 31)) is None
    assert book.rule(1, 8, date(2024, 6, 1)) == old
    assert book.rule(1, 8, date(2025, 3, 1)) == ended
    assert book.rule(1, None, date(2026, 1, 1)) == old
    assert (book.rule(1, 9, date(2025, 5, 31)), book.rule(1, 9, date(2025, 6, 1))) == (ended, goods)
    assert book.rule(1, 8, date(2026, 6, 1)) is None
    assert book.rule(2, 8, date(2025, 6, 1)) is None
