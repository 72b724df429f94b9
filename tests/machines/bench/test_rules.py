"""How much a few test plays tell, and what keeps a cabinet on the bench."""

from dataclasses import replace

import pytest

from machines.bench.rules import Coin, Shown, still_wrong, win_rate

# NIST/SEMATECH e-Handbook 7.2.4.1, https://www.itl.nist.gov/div898/handbook/prc/section2/prc241.htm
NIST_LOW, NIST_HIGH, PRINTED = 0.071354, 0.401029, 2e-6


def test_win_rate_is_the_exact_interval_of_the_handbook():
    low, high = win_rate(4, 20, sure=0.90)
    assert (low, high) == (pytest.approx(NIST_LOW, abs=PRINTED), pytest.approx(NIST_HIGH, abs=PRINTED))


def test_win_rate_without_a_win_starts_at_nothing():
    low, high = win_rate(0, 20)  # 0.1684 from memory; 1 - 0.025 ** (1 / 20) is exact
    assert (low, high) == (0, pytest.approx(1 - 0.025 ** (1 / 20)))


def test_win_rate_of_wins_only_ends_at_all():
    assert win_rate(20, 20) == (pytest.approx(0.025 ** (1 / 20)), 1)


@pytest.mark.parametrize(("wins", "plays"), [(0, 0), (3, 2), (-1, 5)])
def test_win_rate_refuses_counts_that_do_not_fit(wins, plays):
    with pytest.raises(ValueError, match="as many wins as plays"):
        win_rate(wins, plays)


GOOD = Shown(starts=True, checks={"Lights": "fine", "Topper": "none"}, coins=[Coin(25, 4, 4)], plays=10, labelled=True)


def test_nothing_is_wrong_with_a_cabinet_that_shows_all():
    assert still_wrong(GOOD) == []


@pytest.mark.parametrize(
    ("changed", "reasons"),
    [
        ({"starts": False}, ["It does not start at another outlet either."]),
        ({"checks": {"Lights": "fails"}}, ["Fails: Lights."]),
        ({"checks": {"Lights": ""}}, ["Not tried: Lights."]),
        ({"coins": [Coin(25, 4, 3)]}, ["1 of the coins and notes put in came back."]),
        ({"coins": []}, ["No coin, note or card was tried."]),
        ({"coins": [], "reader": "R1", "pulses_sent": 4, "pulses_counted": 4}, []),
        ({"reader": "R1"}, ["The card reader was not tried."]),
        (
            {"reader": "R1", "pulses_sent": 4, "pulses_counted": 8},
            ["The card reader sent 4 pulses, 8 were counted."],
        ),
        ({"plays": 0}, ["No test play was made."]),
        ({"labelled": False}, ["The label is not on it yet."]),
    ],
)
def test_each_lack_keeps_a_cabinet_on_the_bench(changed, reasons):
    assert still_wrong(replace(GOOD, **changed)) == reasons
