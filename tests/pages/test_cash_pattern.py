"""How the cash of a cabinet mostly stands, on paper."""

from routeapp.pages.rules import CashPattern, cash_pattern


def test_cash_pattern_counts_short_and_over():
    found = cash_pattern([(-300, 5_000), (0, 4_000), (-500, 6_000), (25, 1_000)])

    assert found == CashPattern(of=4, short=2, over=1, cents=-775, expected=16_000)
    assert round(found.share, 2) == 4.84


def test_cash_pattern_of_nothing_is_nothing():
    assert cash_pattern([]).share == 0.0
