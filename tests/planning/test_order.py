"""When to order and how many, against published values.

stockpyl is version 1.0.2; its values are printed in its documentation and were worked out again with it. The rules are
those of Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd edition, Wiley 2019.
"""

import numpy as np
import pytest

from routeapp.planning import rules_order as rules
from routeapp.planning.rules_order import Article, Delivering


def test_economic_quantity_is_as_published():
    """stockpyl.eoq.economic_order_quantity(8, 0.225, 1300)."""
    assert rules.economic_quantity(8, 0.225, 1300) == pytest.approx((304.04678, 68.41053), abs=1e-5)


def test_cost_of_another_stock_is_as_published():
    """stockpyl.newsvendor.newsvendor_discrete(1, 4, Poisson(6), base_stock_level=5)."""
    assert rules.poisson_cost(5, 4, 1, 6) == pytest.approx(6.590296, abs=1e-6)


def test_order_point_and_quantity_are_as_published():
    """stockpyl.rq.r_q_eoqb_approximation(0.225, 7.5, 8, 1300, 150, 1/12)."""
    found = rules.order_point_and_quantity(
        fixed=8, holding=0.225, missing=7.5, demand=1300, sd_on_way=150 / np.sqrt(12), days_on_way=1 / 12
    )

    assert found == pytest.approx((128.637814, 308.573780), abs=1e-4)


def test_exact_order_point_is_as_published():
    """stockpyl.rq.r_q_poisson_exact(20, 150, 100, 1.5, 2)."""
    found = rules.order_point_poisson(fixed=100, holding=20, missing=150, demand=1.5, on_way=2)

    assert found == (3, 5, pytest.approx(107.923581, abs=1e-6))


def test_exact_order_up_to_level_is_as_published():
    """stockpyl.ss.s_s_discrete_exact(1, 4, 5, True, 6)."""
    assert rules.up_to(fixed=5, holding=1, missing=4, mean=6) == (4, 10, pytest.approx(8.034112, abs=1e-6))


def test_normal_loss_is_as_published():
    """stockpyl.loss_functions.standard_normal_loss(1.3)."""
    assert rules.loss(1.3) == pytest.approx(0.0455280, abs=1e-6)


# productC of Hyndman and Athanasopoulos, Forecasting: Principles and Practice, 2nd edition, section 12.2.
PRODUCT_C = [
    *(0, 2, 0, 1, 0, 11, 0, 0, 0, 0, 2, 0),
    *(6, 3, 0, 0, 0, 0, 0, 7, 0, 0, 0, 0),
    *(0, 0, 0, 3, 1, 0, 0, 1, 0, 1, 0, 0),
]


def test_croston_is_as_published():
    """0.985 in print; statsforecast 2.1.1 gives 0.98459652, and 0.935367 with the correction."""
    assert rules.croston(PRODUCT_C) == pytest.approx(0.98459652, abs=1e-7)
    assert rules.croston(PRODUCT_C, corrected=True) == pytest.approx(0.935367, abs=1e-6)
    assert rules.croston([0, 0]) == 0


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
