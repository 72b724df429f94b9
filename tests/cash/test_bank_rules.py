"""Which move of money each row of a bank's file probably is: worked out on paper."""

from datetime import date

import pytest

from routeapp.cash import rules_bank
from routeapp.cash.rules_bank import Side


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
