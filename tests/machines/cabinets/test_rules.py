"""What happened between two readings: on paper, and for any true course of plays."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from machines.cabinets import rules
from machines.cabinets.rules import Explanation, Shown

MONDAY = datetime(2026, 3, 2, 10, tzinfo=UTC)


def shown(value, day=0.0, **more):
    return Shown(key=0, at=MONDAY + timedelta(days=day), value=value, **more)


def between(old, new, *, digits=6, days=7.0, **more):
    return rules.interval(shown(old), shown(new, days, **more), digits)


@pytest.mark.parametrize(
    ("old", "new", "digits", "counts"),
    [  # The identity (new − old) mod 10^d; these three values recomputed by hand.
        (999_950, 120, 6, 170),
        (9_999_999, 0, 7, 1),
        (1_000, 1_000, 5, 0),
    ],
)
def test_meter_rolls_over_at_its_digits(old, new, digits, counts):
    assert rules.rolled_over(old, new, digits) == counts
    assert between(old, new, digits=digits).counts == counts


def test_slightly_lower_reading_is_a_question_and_not_999990_plays():
    found = between(1_000, 990)

    assert found.counts is None
    assert found.question == "990 is lower than the last reading of 1,000."


def test_rollover_by_a_persons_word_still_cannot_be_more_than_the_cabinet_can_make():
    found = between(1_000, 990, explained_as=Explanation.ROLLED_OVER)

    assert found.counts is None
    assert found.question == "Even past its last number this would be 999,990 counts, more than the cabinet can make."


def test_more_counts_than_the_time_allows_are_a_question_until_somebody_looked_again():
    assert between(0, 80_000, days=1.0).counts is None
    assert between(0, 80_000, days=1.0, explained_as=Explanation.RIGHT).counts == 80_000


def test_long_gap_does_not_turn_a_lower_reading_into_a_rollover():
    assert between(1_000, 990, days=400.0).counts is None


def test_reset_counts_from_zero():
    assert between(5_000, 40, explained_as=Explanation.RESET).counts == 40


def test_what_nobody_can_tell_is_left_out_without_a_question():
    found = between(5_000, 40, explained_as=Explanation.UNKNOWN)

    assert (found.counts, found.question) == (None, "")


def test_test_plays_are_taken_off_on_both_sides_of_the_stretch():
    start = Shown(key=1, at=MONDAY, value=100, tests_after=3)
    end = shown(160, 7.0, tests_before=2)

    assert rules.interval(start, end, 6).counts == 55


def test_more_test_plays_than_counts_are_a_question():
    found = rules.interval(Shown(key=1, at=MONDAY, value=100, tests_after=9), shown(104, 7.0), 6)

    assert (found.counts, found.question) == (0, "9 test plays were noted, but the meter only moved by 4.")


def test_wrong_reading_is_skipped_when_the_next_one_says_so():
    readings = [shown(100), shown(900, 7), shown(260, 14, explained_as=Explanation.LAST_WAS_WRONG)]

    assert [(one.start.value, one.end.value, one.counts) for one in rules.intervals(readings, 6)] == [(100, 260, 160)]
    assert rules.newest_interval(readings, 6) == rules.intervals(readings, 6)[-1]


def test_wrong_start_of_counting_hands_its_role_on():
    readings = [shown(50), shown(900, 7, baseline=True), shown(260, 8, explained_as=Explanation.LAST_WAS_WRONG)]

    assert rules.intervals(readings, 6) == []
    assert rules.newest_interval(readings, 6) is None


def test_counting_starts_anew_at_a_baseline():
    readings = [shown(100), shown(150, 7), shown(0, 7, baseline=True), shown(30, 14)]

    assert [one.counts for one in rules.intervals(readings, 6)] == [50, 30]


def test_ten_times_the_usual_is_counted_and_asked_about():
    readings = [shown(value, day) for day, value in ((0, 0), (7, 100), (14, 200), (21, 300), (28, 5_000))]

    last = rules.intervals(readings, 6)[-1]

    assert last == rules.newest_interval(readings, 6)
    assert last.counts == 4_700
    assert last.question == "4,700 counts is more than ten times the usual 100."


@given(
    start=st.integers(0, 999_999),
    plays=st.lists(st.integers(0, 5_000), min_size=1, max_size=12),
    tests=st.lists(st.integers(0, 5), min_size=12, max_size=12),
)
def test_intervals_give_back_any_true_course_of_plays(start, plays, tests):
    value, readings = start, [shown(start)]
    for week, (count, free) in enumerate(zip(plays, tests, strict=False), 1):
        value = (value + count + free) % 10**6
        readings.append(shown(value, week * 7.0, tests_before=free))

    assert [one.counts for one in rules.intervals(readings, 6)] == plays
