"""Payback and return against published values and their traps."""

import random

import pytest

from routeapp.earnings.rules_return import WEEKS_A_MONTH, paid_back_after, rate_of_return, weeks_left, yearly


@pytest.mark.parametrize(
    ("flows", "rate"),
    [  # numpy-financial 1.0.0, documentation of irr
        ([-100, 39, 59, 55, 20], 0.28094842),
        ([-100, 0, 0, 74], -0.09549583),
    ],
)
def test_rate_of_return_is_the_published_one(flows, rate):
    assert rate_of_return(flows).rate == pytest.approx(rate, abs=5e-9)


def test_several_changes_of_sign_have_no_single_rate():
    # numpy-financial gives 0.0885983 for these flows, one of several: they change their sign four times.
    found = rate_of_return([-5, 10.5, 1, -8, 1])

    assert (found.rate, found.many) == (None, True)


def test_a_bad_month_within_good_ones_still_has_one_rate():
    # The running sum -100, -40, -50, 20 changes its sign once and ends above zero (Norstrøm 1972).
    found = rate_of_return([-100, 60, -10, 70])

    assert found.rate == pytest.approx(0.093732, abs=5e-7)
    assert abs(sum(flow / (1 + found.rate) ** n for n, flow in enumerate([-100, 60, -10, 70]))) < 1e-9


@pytest.mark.parametrize("flows", [[], [-100], [0, 0], [5, 5]])
def test_flows_of_one_sign_have_no_rate(flows):
    assert rate_of_return(flows) == rate_of_return([])


def test_month_becomes_year():
    assert yearly(0.01) == pytest.approx(0.12682503)  # 1.01 to the twelfth


@pytest.mark.parametrize(
    ("months", "after"),
    [([40, 40, 40], 3), ([100], 1), ([50, 49], None), ([110, -20, 15], 3), ([], None), ([110, -5], 1)],
)
def test_paid_back_once_it_stays_so(months, after):
    assert paid_back_after(100, months) == after


def test_steady_months_leave_no_doubt():
    left = weeks_left(300, [100] * 6)

    assert [left.weeks, left.least, left.most] == pytest.approx([3 * WEEKS_A_MONTH] * 3)


def test_few_months_say_nothing():
    assert weeks_left(300, [100, 90]) is None


def test_scattered_months_leave_the_end_open():
    left = weeks_left(300, [400, -350, 90, -80])

    assert (round(left.weeks), left.most) == (87, None)
    assert left.least < left.weeks


def test_a_loss_is_never_paid_back():
    left = weeks_left(300, [-100, -101, -99, -100, -100])

    assert (left.weeks, left.least, left.most) == (None, None, None)


def test_interval_holds_four_times_in_five():
    # Months drawn from a normal distribution with a fixed seed: six are seen, then it goes on until 1000 are earned.
    drawn, inside, rounds = random.Random(7), 0, 400
    for _ in range(rounds):
        left, needed, so_far = weeks_left(1000, [drawn.gauss(100, 20) for _ in range(6)]), 0, 0.0
        while so_far < 1000:
            so_far, needed = so_far + drawn.gauss(100, 20), needed + 1
        # Whole months are counted, so the true end lies within the last of them.
        inside += left.least / WEEKS_A_MONTH <= needed and needed - 1 <= left.most / WEEKS_A_MONTH

    assert 0.78 <= inside / rounds <= 0.92
