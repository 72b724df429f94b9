"""When to order and how many, against published values.

stockpyl is version 1.0.2; its values are printed in its documentation and were worked out again with it. The rules are
those of Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd edition, Wiley 2019.
"""

from math import sqrt

import pytest

from routeapp.planning import rules_order as rules
from routeapp.planning.rules_order import Article, Delivering
from tests.bench.forecast import croston
from tests.planning.counts import PRODUCT_C


def test_economic_quantity_is_as_published():
    """stockpyl.eoq.economic_order_quantity(8, 0.225, 1300)."""
    assert rules.economic_quantity(8, 0.225, 1300) == pytest.approx((304.04678, 68.41053), abs=1e-5)


def test_order_point_beside_the_economic_quantity_is_as_published():
    """stockpyl.rq.r_q_eoqss_approximation(0.225, 7.5, 8, 1300, 150, 1/12): a safety stock by what a piece too many
    and one missing cost."""
    found = rules.order_point(1300 / 12, 150 / sqrt(12), 7.5 / (7.5 + 0.225))

    assert (found, rules.economic_quantity(8, 0.225, 1300)[0]) == pytest.approx((190.336997, 304.046780), abs=1e-5)


def test_croston_is_as_published():
    """0.985 in print; statsforecast 2.1.1 gives 0.98459652, and 0.935367 with the correction."""
    assert croston(PRODUCT_C) == pytest.approx(0.98459652, abs=1e-7)
    assert croston(PRODUCT_C, corrected=True) == pytest.approx(0.935367, abs=1e-6)
    assert croston([0, 0]) == 0


BEAR = Article(at_hand=100, on_way=0, a_day=5, sd=3, unit_cents=150, margin_cents=800)
TWO_WEEKS = Delivering(days=14, spread=3, every=7)


def test_enough_is_not_ordered():
    plenty = rules.advise(Article(400, 0, 5, 3, 150, 800), TWO_WEEKS, 500)

    assert (plenty.quantity, plenty.urgent) == (0, False)
    assert plenty.lasts == 80


def test_what_does_not_last_until_a_delivery_is_urgent():
    short = rules.advise(Article(20, 0, 5, 3, 150, 800), TWO_WEEKS, 500)

    assert short.urgent
    assert short.quantity == short.level - 20


def test_what_is_on_its_way_counts():
    one = rules.advise(BEAR, TWO_WEEKS, 500)

    assert rules.advise(Article(100, one.quantity, 5, 3, 150, 800), TWO_WEEKS, 500).quantity == 0


def test_what_nobody_wins_is_not_ordered():
    assert rules.advise(Article(0, 0, 0, 0, 150, 800), TWO_WEEKS, 500) == rules.Advice(0, 0, 0, False, None)


def test_little_is_added_to_reach_free_freight_where_freight_is_dearer():
    owl = Article(at_hand=300, on_way=0, a_day=5, sd=3, unit_cents=150, margin_cents=800)
    alone = rules.joint([BEAR, owl], Delivering(14, 3, 7, freight_cents=6_000))
    value = sum(one.quantity * 150 for one in alone)

    free = rules.joint([BEAR, owl], Delivering(14, 3, 7, freight_cents=6_000, free_from_cents=value + 3_000))
    far = rules.joint([BEAR, owl], Delivering(14, 3, 7, freight_cents=100, free_from_cents=value + 900_000))

    assert value + 3_000 <= sum(one.quantity * 150 for one in free) < value + 6_000
    assert sum(one.quantity for one in far) <= sum(one.quantity for one in alone)
