"""Seasons, what all cabinets teach, and ranges that cover what they say."""

from datetime import date

import numpy as np
import pytest

from routeapp.planning import rules_season
from routeapp.planning.rules_ahead import (
    Rates,
    days_stopped,
    days_until_empty,
    fault_prior,
    fault_rate,
    left,
    plays_lost,
    share_prior,
    shares,
)
from routeapp.planning.rules_learn import Known, learn
from routeapp.planning.rules_prior import fitted
from routeapp.planning.rules_rate import Predictive, Prior, filtered, side_by_side
from routeapp.planning.rules_score import Found, levels, outcomes
from routeapp.planning.rules_season import Seasons
from tests.bench.forecast import crps
from tests.planning.counts import DISCOVERIES, EARTHQUAKES, MINES, chance, people, years

MONDAY = (date(2026, 6, 1) - date(1970, 1, 1)).days
SUMMER = np.array([[0.7] * 5 + [1.0, 2.0, 2.0, 1.0] + [0.7] * 3])


def test_days_are_weighed_by_weekday_and_month():
    weekend = Seasons(np.array([[0.5] * 5 + [2.0, 2.5]]), np.ones((1, 12)))
    place, start = np.zeros(3, int), np.array([MONDAY, MONDAY, MONDAY + 5.5])

    days = weekend.days(place, start, np.array([MONDAY + 7.0, MONDAY + 1.5, MONDAY + 6.0]))

    np.testing.assert_allclose(days, [7.0, 0.75, 1.0])


def test_time_until_now_is_worth_nothing_after_a_visit_of_a_fast_clock():
    place = np.zeros(2, int)
    assert rules_season.flat(1).days(
        place, np.array([MONDAY + 400.0] * 2), np.array([MONDAY, MONDAY + 9.0])
    ).tolist() == [0, 0]


def visits(seasons, rate, random, first=MONDAY - 540, last=MONDAY):
    """Weekly or so: (start, end, plays, empty, down)."""
    looks, start = [], float(first)
    while start + 12 < last:
        end = start + random.integers(4, 12)
        mean = rate * float(seasons.days(np.zeros(1, int), np.array([start]), np.array([end]))[0])
        size = 3.0 * (end - start)
        looks.append((start, end, int(random.negative_binomial(size, size / (size + mean))), False, 0.0))
        start = end
    return looks


def route(seasons, cabinets, seed):
    random = np.random.default_rng(seed)
    return [Known("claw", n % 3, visits(seasons, rate, random)) for n, rate in enumerate(random.gamma(4, 6, cabinets))]


def test_a_season_is_found_where_there_is_one_and_helps():
    found = learn(route(Seasons(np.ones((1, 7)), SUMMER), 12, seed=2))

    assert found.helped in ("all", "each")
    july, january = found.seasons.months[:, 6], found.seasons.months[:, 0]
    assert (july > 1.6 * january).all()


def test_no_season_is_taken_where_there_is_none():
    assert learn(route(rules_season.flat(1), 12, seed=3)).helped == "none"


@pytest.mark.parametrize("cabinets", [[], [Known("claw", 1, [])], [Known("claw", 1, [(5.0, 5.0, 3, False, 0.0)])]])
def test_little_is_learned_of_little(cabinets):
    found = learn(cabinets)

    assert found.helped == "none"
    assert len(found.beliefs(cabinets)) == len(cabinets)
    assert found.range_of("claw") == (0.1, 0.9)


def covered(cabinets, learned_by, calibrated_by):
    """The share of outcomes in 80 % ranges after the first `calibrated_by` intervals: figures from the first
    `learned_by`, ranges from what came of the next."""
    prior = fitted([one[:learned_by] for one in cabinets])
    first, every = side_by_side([one[:calibrated_by] for one in cabinets]), side_by_side(cabinets)
    ranges = levels(outcomes(first, filtered(first, prior, keep=True), skip=1))
    found = outcomes(every, filtered(every, prior, keep=True), skip=calibrated_by)
    return len(found), float(found.below(ranges[1]) - found.below(ranges[0]))


def test_published_numbers_of_earthquakes_are_as_the_book_says():
    assert (len(EARTHQUAKES), round(np.mean(EARTHQUAKES), 2)) == (107, 19.36)
    assert round(np.var(EARTHQUAKES, ddof=1), 2) == 51.57


def test_ranges_cover_what_was_really_counted():
    """Each as nearly 80 % as its outcomes can tell, and 75 to 85 % of all together."""
    shares = [covered(people(), 3, 3), *(covered(years(one), 40, 50) for one in (MINES, DISCOVERIES, EARTHQUAKES))]

    assert [number for number, _ in shares] == [59 * 2, 62, 50, 57]
    assert [share for number, share in shares if abs(share - 0.8) > chance(number)] == []
    assert 0.75 <= sum(number * share for number, share in shares) / sum(number for number, _ in shares) <= 0.85


def test_ranges_widen_where_the_past_lay_outside_and_never_narrow():
    evenly = np.linspace(0, 0.995, 200)
    edges = np.concatenate([np.linspace(0, 0.1, 80), np.linspace(0.4, 0.6, 40), np.linspace(0.9, 0.999, 80)])
    nothing = np.zeros(0)

    def of(low):
        return Found(low, low + 1e-3, low, low, np.zeros(len(low), bool))

    assert levels(of(nothing)) == (0.1, 0.9)
    assert levels(of(np.linspace(0.4, 0.6, 200))) == pytest.approx((0.1, 0.9))
    assert levels(of(evenly))[0] == pytest.approx(0.09, abs=0.011)
    assert levels(of(edges))[0] < 0.05


def test_score_is_least_for_the_distribution_that_is_true():
    random = np.random.default_rng(4)
    came = random.poisson(20, 400)
    one = np.ones((400, 1))

    def score(mean):
        return crps(Predictive(mean * one, 1e8 * one, one), came).mean()

    assert score(20) < min(score(16), score(25))


def sure(rate, cabinets=1):
    one = np.ones((cabinets, 1))
    return Rates(rate * one, one, 1e8 * one)


def test_what_is_left_and_when_it_runs_empty():
    prizes, held = sure(5.0), np.array([50.0])

    np.testing.assert_allclose(left(prizes, held, 4.0, (0.1, 0.5, 0.9))[:, 0], [24, 30, 36])
    early, middle, late = days_until_empty(prizes, held, (0.1, 0.5, 0.9))[:, 0]
    assert middle == pytest.approx(9.93, abs=0.05)  # the median of a gamma of shape 50 and rate 5
    assert early < middle < late


def test_nothing_is_lost_before_it_runs_empty_and_all_after():
    lost = plays_lost(sure(5.0), np.array([0.1]), np.array([50.0]), np.array([[0.0, 2.0, 10.0, 100.0]]))

    np.testing.assert_allclose(lost[0], [0, 0, 28.2, 4500], atol=0.5)  # 5.6 of 50: the Poisson loss at its mean, halved


def test_a_cabinet_that_may_stop_unseen_stands_still_the_longer_nobody_comes():
    """30 days at a chance of 1 % a day: 30 - (1 - exp(-0.3)) / 0.01 = 4.0818."""
    still = days_stopped(np.array([[0.0, 3.0, 30.0]] * 2), np.array([0.0, 0.01]))

    np.testing.assert_allclose(still, [[0, 0, 0], [0, 0.044554, 4.081822]], atol=1e-5)


def test_shares_lean_on_those_of_the_kind():
    won, plays = [10, 12, 8, 11, 0], [100, 120, 80, 110, 0]
    found = shares(won, plays, share_prior(won, plays))

    np.testing.assert_allclose(found.part, 0.1, rtol=0.05)
    assert found.variance[4] > found.variance[0]
    assert shares([], [], share_prior([], [])).part.shape == (0,)


def test_faults_are_counted_by_exposure():
    faults, days = [0, 0, 8, 0], [200, 200, 200, 5]
    rates = fault_rate(faults, days, fault_prior(faults, days))

    assert rates[2] > 3 * rates[0]
    assert rates[3] > rates[0]
    assert fault_rate([], [], fault_prior([], [])).shape == (0,)


def test_learning_takes_priors_by_kind():
    random = np.random.default_rng(9)
    flat = rules_season.flat(1)
    few = [Known("sticker", 0, visits(flat, 4, random)) for _ in range(6)]
    many = [Known("pusher", 0, visits(flat, 80, random)) for _ in range(6)]

    found = learn(few + many)

    assert found.prior("sticker").mean < 10 < 40 < found.prior("pusher").mean
    assert found.prior("never seen") == found.everybody
    assert isinstance(found.everybody, Prior)
