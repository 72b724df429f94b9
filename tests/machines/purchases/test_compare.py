"""Comparing quotes on paper: exact where a closed form exists, and the drawn futures against it."""

from dataclasses import replace
from math import exp, inf, log

import numpy as np
import pytest
from scipy.special import hyperu, poch
from scipy.stats import betaprime

from machines.purchases.rules_chances import SHAPE, damage, lateness
from machines.purchases.rules_compare import (
    WEEKS_A_YEAR,
    Choice,
    Purpose,
    best_by_take,
    break_even,
    payback_weeks,
    worth,
)
from machines.purchases.rules_futures import draw, strain
from machines.purchases.rules_picture import APART, crossing

PURPOSE = Purpose(
    cabinets=3, weekly_cents=60_00, walk_away=0.02, elsewhere_weeks=8, damage_cents=150_00, damage_weeks=4,
    horizon_weeks=104, interest=0.08,
)  # fmt: skip
PLAIN = replace(PURPOSE, walk_away=0.0, interest=0.0)
SLOW = Choice("slow", 1_560_00, 984_00, 0.3, 0.4, 63, lateness([]), damage(0, 0))
FAST = Choice("fast", 2_790_00, 2_715_00, 0.0, 0.2, 9, lateness([]), damage(0, 0))


def test_lateness_without_deliveries_is_what_is_usual():
    assert lateness([]).mean == pytest.approx(1.15)


def test_lateness_leans_on_what_is_usual_as_on_three_deliveries():
    """The mean of a gamma with a gamma rate: (3 · 1.15 + 1.4 + 1.6) / 5."""
    assert lateness([1.4, 1.6]).mean == pytest.approx((3.45 + 3.0) / 5)


def test_chances_of_lateness_are_those_of_a_beta_prime():
    """Gamma over gamma is beta-prime (Johnson, Kotz & Balakrishnan 1995, from memory)."""
    found = lateness([1.2])
    law = betaprime(SHAPE, found.a, scale=found.scale)
    assert found.quantile(0.9) == pytest.approx(law.ppf(0.9))


@pytest.mark.parametrize("rate", [3e-7, 3.6])
def test_discount_of_a_late_delivery_is_the_confluent_function(rate):
    """The Laplace transform of a beta-prime is Γ(k+a)/Γ(a) · U(k, 1−a, s): DLMF 13.4.4. Elsewhere SciPy's U fails."""
    found = lateness([])
    exact = poch(found.a, SHAPE) * hyperu(SHAPE, 1 - found.a, rate * found.scale)
    assert found.laplace(rate) == pytest.approx(exact, abs=1e-5)


def test_damage_is_a_beta_over_cabinets():
    """One in ten as of five cabinets, then 2 of 5: (0.5 + 2) / 10."""
    assert damage(0, 0).mean == pytest.approx(0.1)
    assert damage(5, 2).mean == pytest.approx(0.25)


def test_discount_of_a_year_is_the_interest():
    """npv(.08, [-40000, 5000, 8000, 12000, 30000]) is 3065.22267: numpy-financial's documentation, first flow at 0."""
    factors = [exp(-PURPOSE.discount * WEEKS_A_YEAR * year) for year in range(5)]
    flows = [-40000, 5000, 8000, 12000, 30000]
    assert sum(a * b for a, b in zip(flows, factors, strict=True)) == pytest.approx(3065.22267, abs=1e-5)


def test_worth_without_interest_and_with_a_patient_host_is_counted_on_fingers():
    """Nine weeks quoted, 15 % late, one in ten broken for four weeks: it starts in week 10.35 + 0.4."""
    found = worth(SLOW, PLAIN)
    assert found.arrival == pytest.approx(10.35)
    assert found.start == pytest.approx(10.75)
    assert found.cost_cents == pytest.approx(1_560_00 + 0.1 * 3 * 150_00)
    assert found.value(60_00) == pytest.approx(3 * (104 - 10.75) * 60_00 - found.cost_cents)


def test_chance_that_the_host_still_waits_is_the_laplace_of_the_arrival():
    hazard = -log(1 - 0.02)
    arrivals = SLOW.lead_weeks * betaprime(SHAPE, SLOW.lateness.a, scale=SLOW.lateness.scale).ppf(
        (np.arange(20_000) + 0.5) / 20_000
    )
    assert worth(SLOW, PURPOSE).walks == pytest.approx(1 - np.exp(-hazard * arrivals).mean(), abs=1e-4)


@pytest.mark.parametrize("purpose", [PURPOSE, PLAIN, replace(PURPOSE, interest=0.0), replace(PURPOSE, walk_away=0.0)])
def test_drawn_means_are_the_exact_ones_within_their_error(purpose):
    futures = draw([SLOW, FAST], purpose)
    for choice, outlook in zip((SLOW, FAST), futures.outlooks, strict=True):
        exact = worth(choice, purpose)
        assert abs(outlook.mean_value - exact.value(purpose.weekly_cents)) < 4 * outlook.error
        assert outlook.mean_start == pytest.approx(exact.start, abs=0.05)


def test_drawn_spread_of_the_first_week_is_that_of_the_beta_prime():
    """With a patient host and no damage the first week of earning is the arrival itself."""
    sound = replace(SLOW, damage=replace(damage(0, 0), broken=1e-9))
    drawn = draw([sound], PLAIN).outlooks[0].first_week
    exact = [sound.lead_weeks * sound.lateness.quantile(share) for share in (0.1, 0.5, 0.9)]
    assert [drawn.low, drawn.mid, drawn.high] == pytest.approx(exact, rel=0.01)


def test_same_seed_draws_the_same_futures():
    first, again = draw([SLOW, FAST], PURPOSE, 1000), draw([SLOW, FAST], PURPOSE, 1000)
    assert first.outlooks == again.outlooks
    assert draw([SLOW, FAST], PURPOSE, 1000, seed=12).outlooks != first.outlooks


def test_chances_to_be_best_are_shares_of_one():
    futures = draw([SLOW, FAST, SLOW], PURPOSE, 10_000)
    assert sum(one.wins for one in futures.outlooks) == pytest.approx(1)
    assert futures.beats(0, 1) + futures.beats(1, 0) == pytest.approx(1)


def test_take_at_which_the_faster_one_wins_is_where_both_are_worth_the_same():
    slow, fast = worth(SLOW, PURPOSE), worth(FAST, PURPOSE)
    take = break_even(slow, fast)
    assert slow.value(take) == pytest.approx(fast.value(take))
    assert slow.value(take - 100) > fast.value(take - 100)
    assert slow.value(take + 100) < fast.value(take + 100)


def test_take_at_which_the_faster_one_wins_by_hand():
    """No interest, patient host, nothing broken: the price of a week is the difference over the weeks won."""
    sound = replace(damage(0, 0), broken=0.0)
    slow, fast = (worth(replace(one, damage=sound), PLAIN) for one in (SLOW, FAST))
    assert break_even(slow, fast) == pytest.approx((2_790_00 - 1_560_00) / (3 * (10.35 - 9 / 7 * 1.15)))


def test_dearer_one_that_is_not_sooner_never_wins():
    late_and_dear = replace(SLOW, landed_cents=3_000_00)
    assert break_even(worth(SLOW, PURPOSE), worth(late_and_dear, PURPOSE)) is None


def test_best_choice_changes_with_the_take_along_the_upper_edge():
    middle = replace(SLOW, name="middle", landed_cents=1_700_00, lead_days=40)
    poor = replace(SLOW, name="poor", landed_cents=2_900_00, lead_days=40)
    worths = [worth(one, PURPOSE) for one in (FAST, poor, middle, SLOW)]
    edge = best_by_take(worths)
    assert [stretch.worth.choice.name for stretch in edge] == ["slow", "middle", "fast"]
    ends = [stretch.since for stretch in edge[1:]] + [inf]
    for stretch, end in zip(edge, ends, strict=True):
        inside = stretch.since + min(1_00, (end - stretch.since) / 2)
        assert stretch.worth.value(inside) == max(one.value(inside) for one in worths)


def test_payback_is_the_start_and_the_weeks_that_make_up_for_the_cost():
    found = worth(SLOW, PLAIN)
    assert payback_weeks(found, PLAIN) == pytest.approx(found.start + found.cost_cents / 180_00)
    assert payback_weeks(found, replace(PLAIN, weekly_cents=0)) is None


def test_no_take_never_pays_back():
    outlook = draw([SLOW], replace(PURPOSE, weekly_cents=0), 1000).outlooks[0]
    assert (outlook.payback, outlook.loses) == (None, 1.0)


def test_strain_is_the_late_tenth_and_one_broken_cabinet():
    single = replace(PLAIN, cabinets=1, weekly_cents=30_00)
    found = strain(SLOW, single)
    late = 9 * SLOW.lateness.quantile(0.9)
    assert found.late_weeks == pytest.approx(late)
    assert found.late_value == pytest.approx((104 - late) * 30_00 - 1_560_00)
    assert found.broken_value == pytest.approx((104 - 10.35 - 4) * 30_00 - 1_560_00 - 150_00)


def test_picture_crosses_where_both_are_worth_the_same():
    slow, fast = worth(SLOW, PURPOSE), worth(FAST, PURPOSE)
    take = round(break_even(slow, fast))
    picture = crossing([slow, fast], 60_00, [0, take])
    lines = [one.line for one in picture.lines]

    def height(line, x):
        return line.y1 + (line.y2 - line.y1) * x / line.x2

    assert height(lines[0], picture.turns[0]) == pytest.approx(height(lines[1], picture.turns[0]), abs=0.2)
    assert abs(picture.lines[0].word.y - picture.lines[1].word.y) >= APART
