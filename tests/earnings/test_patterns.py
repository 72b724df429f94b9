"""Short money: chance or pattern?"""

import pytest
from django.urls import reverse

from routeapp.earnings.rules_patterns import Sample, centre, chance, p_chart, verdicts
from tests.cash.test_pages import words
from tests.visits import books

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2: defective wafers in 30 samples of 50.
WAFERS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]


def test_p_chart_has_the_limits_of_the_handbook():
    chart = p_chart([Sample(str(number), 50, short) for number, short in enumerate(WAFERS, start=1)])
    assert round(centre([one.sample for one in chart]), 4) == 0.2313
    assert (round(chart[0].lower, 4), round(chart[0].upper, 4)) == (0.0524, 0.4102)
    assert [one.sample.name for one in chart if one.is_out] == ["15", "23"]


def test_limits_widen_with_few_counts_and_stay_within_all_and_nothing():
    few, many = p_chart([Sample("few", 2, 1), Sample("many", 200, 20)])
    assert few.upper > many.upper
    assert few.lower == 0
    assert p_chart([]) == []


def test_chance_is_that_of_the_lady_tasting_tea():
    # Fisher, The Design of Experiments (1935), ch. II: of 8 cups all 4 right 1/70, at least 3 right 17/70.
    assert chance(4, 4, 4, 8) == pytest.approx(1 / 70)
    assert chance(3, 4, 4, 8) == pytest.approx(17 / 70)
    assert chance(0, 4, 4, 8) == 1


def told(*samples):
    return {one.sample.name: one.state for one in verdicts([Sample(*each) for each in samples])}


def test_only_what_chance_hardly_does_stands_out():
    assert told(("a", 40, 12), ("b", 40, 2), ("c", 40, 1)) == {"a": "warn", "b": "good", "c": "good"}
    assert told(("a", 40, 4), ("b", 40, 2), ("c", 40, 1)) == {"a": "good", "b": "good", "c": "good"}


def test_few_counts_say_nothing():
    few = verdicts([Sample("a", 5, 5), Sample("b", 60, 1)])[0]
    assert (few.sample.name, few.state, few.words) == ("a", "none", "Few counts: this says nothing yet.")


def test_nobody_is_compared_with_themselves():
    (alone,) = verdicts([Sample("a", 50, 20), Sample("b", 0, 0)])
    assert (alone.state, alone.words) == ("none", "Nobody to compare with.")


def test_one_among_many_has_to_stand_out_further():
    crowd = [(f"c{number}", 40, 2) for number in range(60)]
    assert told(("a", 40, 7), ("b", 40, 0))["a"] == "warn"
    assert told(("a", 40, 7), *crowd)["a"] == "good"


@pytest.fixture
def office(client, bookkeeper):
    client.force_login(bookkeeper, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_page_speaks_of_counts_and_never_of_guilt(office, route_hand):
    world = books.make_world(route_hand)
    for number, name in enumerate(("a", "b"), start=1):
        entry = books.entry(world, name, cents=1000, reading=100 + 50 * number)
        books.record(world, books.document(world, name, days=number, entries=[entry]))
    page = words(office.get(reverse("over-short-patterns"), {"since": "2026-03-01", "until": "2026-03-31"}))
    assert "It does not tell why" in page
    assert "1 of 1 short" in page or "2 of 2 short" in page


@pytest.mark.parametrize("days", [{}, {"since": "x"}, {"since": "0001-01-01", "until": "9999-12-31"}, {"since": "\0"}])
def test_page_without_takes_teaches(office, days):
    answer = office.get(reverse("over-short-patterns"), days)
    assert (answer.status_code, "Nothing to compare" in words(answer)) == (200, True)
