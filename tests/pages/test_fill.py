"""How full a cabinet is by now, and how its cash mostly stands, on paper."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from routeapp.pages.rules import CashPattern, Fill, a_day, cash_pattern

NOON = datetime(2026, 6, 1, 12, tzinfo=ZoneInfo("UTC"))


def days(number):
    return NOON + timedelta(days=number)


@pytest.mark.parametrize(("later", "left"), [(0, 60), (5, 35), (12, 0), (100, 0), (-3, 60)])
def test_fill_goes_down_by_what_is_won_a_day(later, left):
    assert Fill(60, NOON, 5.0, 100).at(days(later)) == left


def test_fill_says_when_it_runs_empty():
    assert Fill(60, NOON, 5.0).empty_at() == days(12)
    assert Fill(60, NOON, 0.0).empty_at() is None
    assert Fill(60, None, 5.0).empty_at() is None


@pytest.mark.parametrize(
    ("fill", "low"),
    [
        (Fill(100, NOON, 0.0, 100), False),
        (Fill(15, NOON, 0.0, 100), True),
        (Fill(40, NOON, 20.0, 100), True),  # two days left
        (Fill(40, NOON, 5.0, None), False),
        (Fill(0, NOON, 0.0, None), True),
        (Fill(-3, NOON, 1.0, 100), True),  # more was won than the books knew of
    ],
)
def test_low_means_nearly_empty_or_empty_in_two_days(fill, low):
    assert fill.is_low(NOON) is low


def test_prizes_a_day_need_at_least_a_day():
    assert a_day(30, NOON, days(10)) == 3
    assert a_day(30, NOON, NOON + timedelta(hours=3)) == 0
    assert a_day(30, NOON, None) == 0
    assert a_day(-4, NOON, days(2)) == 0


def test_cash_pattern_counts_short_and_over():
    found = cash_pattern([(-300, 5_000), (0, 4_000), (-500, 6_000), (25, 1_000)])

    assert found == CashPattern(of=4, short=2, over=1, cents=-775, expected=16_000)
    assert round(found.share, 2) == 4.84


def test_cash_pattern_of_nothing_is_nothing():
    assert cash_pattern([]).share == 0.0
