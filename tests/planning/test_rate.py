"""What is believed of rates: against published values, and against what must hold for any data."""

import numpy as np
import pytest
from scipy.stats import nbinom

from routeapp.planning.rules_prior import fitted, gamma_poisson
from routeapp.planning.rules_rate import Predictive, Prior, Stretch, filtered, side_by_side, start

# Failures of ten pumps at a power plant and the thousands of hours each ran (Gaver and O'Muircheartaigh 1987; the BUGS
# manual, vol. 1, "Pumps"), with the crude rates printed at pmean.com/11/Hierarchical.html.
FAILURES = [5, 1, 5, 14, 3, 19, 1, 1, 4, 22]
HOURS = [94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.10, 10.5]
CRUDE = [0.053, 0.064, 0.079, 0.111, 0.573, 0.605, 0.952, 0.952, 1.905, 2.095]
STEADY = 1e8  # a size so large is a Poisson process


def pumps(prior):
    cabinets = [[Stretch(hours, failures)] for failures, hours in zip(FAILURES, HOURS, strict=True)]
    return filtered(side_by_side(cabinets), prior).belief


def test_pumps_have_their_published_crude_rates():
    assert [round(n / t, 3) for n, t in zip(FAILURES, HOURS, strict=True)] == CRUDE


def test_gamma_poisson_finds_the_likeliest_prior_of_the_pumps():
    hours = [94.32, 15.72, 62.88, 125.76, 5.24, 31.44, 1.048, 1.048, 2.096, 10.48]  # the same, less rounded

    assert gamma_poisson(FAILURES, hours) == pytest.approx((0.82227, 1.25895), abs=2e-5)  # worked out apart, no source


def test_belief_about_pumps_is_the_gamma_of_the_textbook():
    """With a Poisson process and no drift the grid must find (shape + x) / (rate + t)."""
    shape, rate = gamma_poisson(FAILURES, HOURS)

    found = pumps(Prior(shape, shape / rate, STEADY, drift=0.0)).mean

    closed = [(shape + x) / (rate + t) for x, t in zip(FAILURES, HOURS, strict=True)]
    np.testing.assert_allclose(found, closed, rtol=3e-3)


# Garwood, Biometrika 28 (1936), 437-442: exact 95 % limits of a Poisson mean by the count that was seen.
GARWOOD = {1: (0.02532, 5.57164), 3: (0.61867, 8.76727), 10: (4.79539, 18.39036), 20: (12.21652, 30.88838)}


@pytest.mark.parametrize("count", GARWOOD)
def test_limits_of_a_rate_lie_as_garwoods_where_the_prior_says_nothing(count):
    """His lower limit is the gamma quantile of shape n, his upper one of shape n + 1: priors of shape 0 and 1."""
    told, grid = side_by_side([[Stretch(1.0, count)]]), np.geomspace(1e-3, 300, 160)

    low = filtered(told, Prior(1e-6, 2.0, STEADY, 0.0), grid).belief.quantile(0.025)
    high = filtered(told, Prior(1.0, 1e5, STEADY, 0.0), grid).belief.quantile(0.975)

    np.testing.assert_allclose([low[0], high[0]], GARWOOD[count], rtol=0.04)


def one(mean, size):
    return Predictive(np.array([[mean]]), np.array([[size]]), np.array([[1.0]]))


def test_what_is_asked_for_beyond_the_stock_is_as_published():
    """stockpyl 1.0.2, loss_functions: poisson_loss(18, 15) and negative_binomial_loss(14, r=4, p=0.2)."""
    assert one(15.0, STEADY).beyond(18)[0] == pytest.approx(0.5176095, abs=1e-6)
    assert one(4 * 0.8 / 0.2, 4.0).beyond(14)[0] == pytest.approx(4.4473046, abs=1e-6)


def test_quantiles_are_those_of_the_negative_binomial():
    for part in (0.1, 0.5, 0.9):
        assert one(16.0, 4.0).quantile(part)[0] == nbinom.ppf(part, 4, 0.2)


def test_a_mite_count_fits_the_negative_binomial_as_published():
    """Bliss and Fisher, Biometrics 9 (1953), 176: mites on 150 leaves, mean 1.14667, k 1.02459, fitted numbers."""
    chances = -np.diff([one(1.14667, 1.02459).at_least(count)[0] for count in range(9)])

    np.testing.assert_allclose(150 * chances, [69.49, 37.60, 20.10, 10.70, 5.69, 3.02, 1.60, 0.85], atol=0.02)


def played(rates, seed, intervals=20, size=2.0):
    random = np.random.default_rng(seed)
    days = random.integers(4, 15, (len(rates), intervals))
    return days, random.negative_binomial(size * days, size / (size + np.array(rates)[:, None]))


def test_an_empty_cabinet_is_not_taken_for_a_poor_one():
    """Prizes for 120 plays: with 20 plays a day they are gone in six days, whatever the interval is."""
    days, plays = played([20.0] * 30, seed=3)
    told = [
        [Stretch(d, min(n, 120), bool(n >= 120)) for d, n in zip(*both, strict=True)]
        for both in zip(days, plays, strict=True)
    ]
    blind = [[one._replace(empty=False) for one in each] for each in told]
    prior = Prior(2.0, 15.0, 2.0, 0.01)

    assert filtered(side_by_side(blind), prior).belief.mean.mean() < 14
    assert filtered(side_by_side(told), prior).belief.mean.mean() == pytest.approx(20, rel=0.1)


def test_found_empty_every_time_is_believed_to_be_better_but_not_without_end():
    found = filtered(side_by_side([[Stretch(10, 100, empty=True)] * 40]), Prior(2.0, 15.0, 2.0, 0.05)).belief

    assert 10 < found.mean[0] < 60


def test_the_prior_of_a_kind_is_found_from_its_cabinets():
    rates = np.random.default_rng(5).gamma(2.0, 10.0, 60)
    days, plays = played(rates, seed=6)

    prior = fitted([[Stretch(d, n) for d, n in zip(*both, strict=True)] for both in zip(days, plays, strict=True)])

    assert prior.mean == pytest.approx(20, rel=0.2)
    assert prior.shape == pytest.approx(2, rel=0.4)
    assert prior.size == pytest.approx(2, rel=0.2)
    assert prior.drift < 0.03


@pytest.mark.parametrize(
    "stretches",
    [
        [],
        [Stretch(7, None)],
        [Stretch(0, 5), Stretch(0, 0)],
        [Stretch(7, 0)] * 30,
        [Stretch(7, 0, empty=True)],
        [Stretch(1, 10**15)],
        [Stretch(10_000, 3)],
    ],
)
def test_odd_histories_leave_a_belief_one_can_work_with(stretches):
    usual = [Stretch(7, 80), Stretch(9, 95), Stretch(6, 60)]

    prior = fitted([stretches, usual])
    belief = filtered(side_by_side([stretches, usual]), prior).belief
    ahead = belief.later(14 / 3).around(14)

    assert np.isfinite(belief.mean).all()
    assert (belief.mean > 0).all()
    assert np.isfinite([ahead.quantile(0.1), ahead.quantile(0.9), ahead.beyond(0)]).all()
    assert belief.weights.sum(axis=-1) == pytest.approx([1, 1])


def test_one_cabinet_among_many_is_believed_what_it_is_alone():
    cabinets = [[Stretch(7, 80)], [], [Stretch(3, 4), Stretch(20, 100, empty=True), Stretch(5, None)]]
    prior = Prior()
    grid = start(prior, np.geomspace(0.1, 500, 160)).grid

    together = filtered(side_by_side(cabinets), prior, grid).belief
    for place, each in enumerate(cabinets):
        alone = filtered(side_by_side([each]), prior, grid).belief
        np.testing.assert_allclose(together.weights[place], alone.weights[0], atol=1e-9)
