"""What a visit is worth, against the same worked out by brute force."""

import numpy as np
import pytest

from routeapp.planning.rules_value import Outlook, cash_at_risk, shares

DAYS = np.arange(121)
FRESH = 0.5 * 120.0 * DAYS**2 / 10  # a loss that grows evenly: 12.00 more each day after a visit
OUTLOOK = Outlook(now=FRESH[None] + 300.0 * DAYS, fresh=FRESH[None])


def test_best_pace_is_a_visit_after_the_best_number_of_weeks():
    daily = OUTLOOK.pace(np.array([[2400.0]]))
    assert daily[0] == pytest.approx(min((FRESH[days] + 2400) / days for days in (7, 14, 21, 28)))


def test_pace_takes_the_cheap_weeks_as_the_best_rule_does():
    """The best of all rules that take a cheap week from one on and a dear one from another on (the theorem of renewal
    and reward: cents of a cycle over its days)."""

    def daily(cheap_from: int, dear_from: int) -> float:
        cents = days = 0.0
        chance = 1.0
        for week in range(1, dear_from + 1):
            asked = [cost for cost, first in ((400, cheap_from), (4400, dear_from)) if week >= first]
            cents += sum(chance / 2 * (FRESH[7 * week] + cost) for cost in asked)
            days += len(asked) * chance / 2 * 7 * week
            chance -= len(asked) * chance / 2
        return cents / days

    best = min(daily(cheap, dear) for dear in range(1, 12) for cheap in range(1, dear + 1))
    assert OUTLOOK.pace(np.array([[400.0, 4400.0]]))[0] == pytest.approx(best, rel=1e-4)
    assert best < OUTLOOK.pace(np.array([[2400.0]]))[0]


def test_worth_agrees_with_waiting_played_out():
    """A visit on the Monday, then on Wednesdays at the best pace, against waiting for the next Wednesdays."""
    daily = float(OUTLOOK.pace(np.array([[2400.0]]))[0])

    def whole(first: int, next_one: int) -> float:
        return OUTLOOK.now[0, first] + FRESH[next_one - first] + 2400 - daily * next_one

    today = min(whole(0, wednesday) for wednesday in range(9, 80, 7))
    later = min(OUTLOOK.now[0, wednesday] + 2400 - daily * wednesday for wednesday in range(9, 80, 7))
    assert OUTLOOK.worth(np.array([[2400.0]]), [0], 7)[0] == pytest.approx([later - today], abs=1)


def test_a_place_just_visited_is_worth_no_visit():
    just = Outlook(now=FRESH[None], fresh=FRESH[None])
    assert just.worth(np.array([[2400.0]]), [0], 1)[0, 0] == pytest.approx(0)


def test_waiting_for_an_empty_cabinet_costs_its_margin_each_day():
    losing = Outlook(now=1000.0 * DAYS[None], fresh=FRESH[None])
    [today, week_later] = losing.worth(np.array([[2400.0]]), [0, 7], 8)[0]
    assert today - week_later == pytest.approx(7 * 1000, rel=0.3)


def test_cash_at_risk_adds_up_over_days():
    assert cash_at_risk(np.array([10_000]), np.array([2_000]), 0.001, 4)[0] == pytest.approx([0, 11, 24, 39, 56])


def test_shares_of_a_trip_add_up_when_all_of_it_is_common():
    assert shares([100, 300, 0], 5_000, 1.0) == pytest.approx([1633.33, 1833.33, 1533.33], abs=0.01)
    assert shares([100, 300, 0], 5_000, 0.0) == [100, 300, 0]
    assert shares([], 0, 1.0) == []
