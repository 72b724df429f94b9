"""Whether a prize draws players, on paper."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import t as student

from routeapp.earnings.rules_draw import Cell, Drawn, Verdict, drawn, verdicts

# Deaths from coronary disease and person-years of British doctors by age, smokers and others: R. Doll and A. B. Hill,
# National Cancer Institute Monograph 19 (1966), as printed by Breslow and Day (1987), table 3.15. Table and results are
# written from memory.
SMOKERS = ((32, 52_407), (104, 43_248), (206, 28_612), (186, 12_663), (102, 5_317))
OTHERS = ((2, 18_790), (12, 10_673), (28, 5_710), (28, 2_585), (31, 1_462))


def doctors():
    """Smoking in the place of the prize, an age group in the place of a cabinet."""
    return [
        Cell(age, age, "all the time", smoke, deaths, years)
        for smoke, rows in ((True, SMOKERS), (False, OTHERS))
        for age, (deaths, years) in enumerate(rows)
    ]


def test_british_doctors_come_to_the_published_ratio_and_error():
    # The rate ratio of Poisson regression is 1.4255 with a standard error of 0.1531, Pearson's statistic 11.155 with
    # 4 degrees of freedom (these are printed in many manuals of statistics).
    found = drawn(doctors())

    assert (found.places, found.freedom) == (5, 4)
    assert math.exp(found.log) == pytest.approx(1.4255, abs=5e-5)
    assert found.error == pytest.approx(0.1531 / 1.4255 * math.sqrt(11.155 / 4), rel=1e-3)


def test_the_range_is_the_wider_of_two():
    by_scatter, by_places = Drawn(5, 0.2, 0.1, 20, 0.01), Drawn(5, 0.2, 0.01, 20, 0.1)

    for found, freedom in ((by_scatter, 20), (by_places, 4)):
        reach = 0.1 * student.ppf(0.975, freedom)
        assert found.verdict(0.05) == Verdict(
            5,
            pytest.approx(math.expm1(0.2)),
            pytest.approx(math.expm1(0.2 - reach)),
            pytest.approx(math.expm1(0.2 + reach)),
        )


@pytest.mark.parametrize("seed", range(3))
def test_it_is_the_most_likely_of_all_levels_months_and_effects(seed):
    """The same by looking for the greatest likelihood with every level of a cabinet as a number of its own."""
    cells = season(seed, effect=1.4, places=4, weeks=16)
    one = {(cell.place, cell.month, cell.inside): [0, 0.0] for cell in cells}
    for cell in cells:
        one[cell.place, cell.month, cell.inside][0] += cell.plays
        one[cell.place, cell.month, cell.inside][1] += cell.days
    keys, plays, days = list(one), *map(np.array, zip(*one.values(), strict=True))
    design = np.array(
        [
            [inside, *(place == n for n in range(4)), *(month == n for n in range(1, 4))]
            for place, month, inside in keys
        ],
        float,
    )

    def unlikely(numbers):
        expected = days * np.exp(design @ numbers)
        return (expected - plays * np.log(expected)).sum()

    start = np.array([0.0, *([math.log(plays.sum() / days.sum())] * 4), 0, 0, 0])
    best = minimize(unlikely, start, method="BFGS", options={"gtol": 1e-7})

    found = drawn(cells)
    assert found.log == pytest.approx(best.x[0], abs=1e-4)
    expected = days * np.exp(design @ best.x)
    scatter = max(1, ((plays - expected) ** 2 / expected).sum() / (len(plays) - 8))
    inverse = np.linalg.inv(design.T @ (design * expected[:, None]))
    assert found.error == pytest.approx(math.sqrt(scatter * inverse[0, 0]), rel=1e-3)
    scores = [((plays - expected) * rows) @ design for rows in design[:, 1:5].T]  # of each place
    sandwich = inverse @ np.einsum("pa,pb->ab", scores, scores) @ inverse
    assert found.error_by_place == pytest.approx(
        math.sqrt(sandwich[0, 0] * found.places / (found.places - 1)), rel=1e-3
    )


def season(seed, *, effect, places, weeks, together=False):
    """Weeks of cabinets that drift, in a season all share; a prize comes and goes, or comes to all at once."""
    rng, cells = random.Random(seed), []
    for place in range(places):
        usual, drift, inside = rng.uniform(5, 40), 1.0, rng.random() < 0.5
        for week in range(weeks):
            if week % 3 == 0 and not together:
                inside = rng.random() < 0.5
            busy = 1 + 0.4 * math.sin(2 * math.pi * week / 26)
            drift *= math.exp(rng.gauss(0, 0.03))
            with_it = week >= weeks // 2 if together else inside
            mean = 7 * usual * busy * drift * (effect if with_it else 1) * rng.gammavariate(30, 1 / 30)
            plays = max(0, round(rng.gauss(mean, math.sqrt(mean))))
            cells.append(Cell(place, place, week // 4, with_it, plays, 7.0))
    return cells


def test_a_known_effect_is_found_and_mostly_within_its_range():
    verdicts = [drawn(season(seed, effect=1.3, places=8, weeks=16)).verdict(0.05) for seed in range(200)]
    missed = sum(not one.low <= 0.3 <= one.high for one in verdicts)

    assert sum(one.more for one in verdicts) / 200 == pytest.approx(0.3, abs=0.02)
    assert missed <= 20  # of 200, where 10 are to be expected; more than 20 come once in a thousand times
    assert sum(one.state == "good" for one in verdicts) >= 180


def test_no_effect_is_seldom_found():
    verdicts = [drawn(season(seed, effect=1.0, places=8, weeks=16)).verdict(0.05) for seed in range(200)]

    assert sum(one.more for one in verdicts) / 200 == pytest.approx(0, abs=0.02)
    assert sum(one.stands_out for one in verdicts) <= 20


def test_what_came_with_the_months_cannot_be_told_from_them():
    assert drawn(season(1, effect=1.5, places=8, weeks=16, together=True)) == Drawn(8)


def test_it_takes_three_places():
    cells = season(2, effect=1.5, places=8, weeks=16)
    mostly = [replace(cell, inside=number % 2 > 0 or cell.place > 1) for number, cell in enumerate(cells)]

    assert drawn(mostly) == Drawn(2)
    assert drawn(mostly).verdict(0.05) == Verdict(2)
    assert drawn([replace(cell, place=0, cabinet=cell.place) for cell in cells]) == Drawn(1)


def test_doubt_is_shared_out_among_those_that_can_be_compared():
    found = Drawn(5, 0.2, 0.1, 20, 0.01)

    assert verdicts({1: found, 2: Drawn(1)}) == {1: found.verdict(0.05), 2: Verdict(1)}
    assert verdicts({1: found, 2: Drawn(1), 3: found})[1] == found.verdict(0.025)
    assert verdicts({}) == {}


@pytest.mark.parametrize("silent", [True, False])
def test_where_nothing_was_played_with_it_or_without_nobody_can_tell(silent):
    cells = season(3, effect=1, places=8, weeks=16)
    assert drawn([replace(one, plays=0) if one.inside is silent else one for one in cells]).log is None
    assert drawn([replace(one, plays=0) for one in cells]) == Drawn(0)
    assert drawn([]) == Drawn(0)


@pytest.mark.parametrize(
    ("verdict", "state", "words", "why"),
    [
        (Verdict(5, 0.34, 0.12, 0.6), "good", "34 % more plays", "12 to 60 % more"),
        (Verdict(5, -0.2, -0.3, -0.1), "warn", "20 % fewer plays", "10 to 30 % fewer"),
        (Verdict(5, 0.1, -0.12, 0.35), "none", "too little to say", "12 % fewer to 35 % more"),
        (Verdict(5, 0.01, -0.08, 0.1), "none", "no difference", "8 % fewer to 10 % more"),
        (
            Verdict(0),
            "none",
            "too little to say",
            "no place had it for some of the days and not for others; it takes 3",
        ),
        (Verdict(1), "none", "too little to say", "1 place had it for some of the days and not for others; it takes 3"),
        (
            Verdict(2),
            "none",
            "too little to say",
            "2 places had it for some of the days and not for others; it takes 3",
        ),
        (
            Verdict(4),
            "none",
            "too little to say",
            "it came and went with the months, or hardly anything was played",
        ),
        (Verdict(3, 1e9, 0.5, 1e20), "good", "999 % more plays", "50 to 999 % more"),
    ],
)
def test_verdicts_in_words(verdict, state, words, why):
    assert (verdict.state, verdict.words, verdict.why) == (state, words, why)
