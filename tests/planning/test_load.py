"""Prizes to load: published newsvendor values, and what happens where there are too few."""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import norm

from routeapp.planning.rules_load import cost, enough, loads, newsvendor, shared
from routeapp.planning.rules_rate import STEADY, Predictive


@dataclass(frozen=True)
class Normal:
    mean: float
    deviation: float

    def quantile(self, part: float) -> float:
        return norm(self.mean, self.deviation).ppf(part)

    def beyond(self, limit: float) -> float:
        return norm(self.mean, self.deviation).expect(lambda wanted: wanted - limit, lb=limit)


def poisson(*means: float) -> Predictive:
    column = np.array(means)[:, None]
    return Predictive(column, np.full_like(column, STEADY), np.ones_like(column))


def test_newsvendor_with_normal_demand():
    """stockpyl 1.0.2, newsvendor_normal(0.18, 0.70, 50, 8): 56.603956 at 1.997605 (its example_4_3)."""
    best = newsvendor(Normal(50, 8), 0.70, 0.18)
    assert best == pytest.approx(56.603956, abs=1e-6)
    assert cost(Normal(50, 8), best, 0.70, 0.18) == pytest.approx(1.997605, abs=1e-6)


def test_newsvendor_with_prices():
    """stockpyl 1.0.2, newsvendor_normal_explicit: price 1, cost 0.3, salvage 0.12, N(50, 8): profit 33.002395."""
    best = newsvendor(Normal(50, 8), 1 - 0.3, 0.3 - 0.12)
    assert (1 - 0.3) * 50 - cost(Normal(50, 8), best, 0.7, 0.18) == pytest.approx(33.002395, abs=1e-6)


@pytest.mark.parametrize(
    ("mean", "under", "over", "quantity", "loss"),
    [(50, 0.70, 0.18, 56, 1.797235), (6, 4, 1, 8, 3.570107)],
)
def test_newsvendor_with_poisson_demand(mean, under, over, quantity, loss):
    """stockpyl 1.0.2: newsvendor_poisson(0.18, 0.70, 50), and newsvendor_discrete with Poisson(6) (its example_4_7)."""
    best = newsvendor(poisson(mean), under, over)[0]
    assert best == quantity
    assert cost(poisson(mean), best, under, over)[0] == pytest.approx(loss, abs=1e-5)


def test_cost_of_another_quantity():
    """stockpyl 1.0.2, newsvendor_discrete(1, 4, Poisson(6), base stock 5): 6.590296."""
    assert cost(poisson(6), 5, 4, 1)[0] == pytest.approx(6.590296, abs=1e-5)


def test_nothing_is_loaded_where_a_prize_earns_nothing():
    assert enough(0, 5) == 0


def test_load_fills_up_to_what_is_wanted_or_fits():
    assert loads([40, 40, 40], [10, 45, 10], [60, 60, 30]) == [30, 0, 20]


def test_short_stock_goes_where_it_is_won():
    """No other way to hand out 20 prizes loses less."""
    demand, present = poisson(15, 5, 5), np.array([0, 0, 4])
    ways = [(a, b, 20 - a - b) for a in range(19) for b in range(9) if 0 <= 20 - a - b <= 6]
    given = shared(demand, present, [18, 8, 6], [100.0] * 3, 20)
    assert sum(given) == 20
    assert demand.beyond(present + given).sum() == pytest.approx(
        min(demand.beyond(present + way).sum() for way in ways)
    )


def test_ample_stock_gives_what_is_wanted():
    assert shared(poisson(3, 4), [0, 0], [5, 0], [1.0, 1.0], 99) == [5, 0]
