"""Periods of settling, and parts of weeks and months."""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from locations.agreements.rules_periods import Rhythm, Stretch, part_of, period_on, periods


def stretch(*ends):
    return Stretch(*(date.fromisoformat(f"2026-{end}") for end in ends))


@pytest.mark.parametrize(
    ("rhythm", "found"),
    [
        (Rhythm("week"), stretch("06-15", "06-21")),
        (Rhythm("week", date(2026, 1, 1)), stretch("06-12", "06-18")),  # up to a Thursday
        (Rhythm("fortnight", date(2026, 6, 7)), stretch("06-08", "06-21")),
        (Rhythm("fortnight", date(2026, 6, 28)), stretch("06-15", "06-28")),
        (Rhythm("month"), stretch("06-01", "06-30")),
        (Rhythm("quarter"), stretch("04-01", "06-30")),
        (Rhythm("last"), stretch("05-30", "06-26")),
        (Rhythm("last", date(2026, 6, 11)), stretch("05-29", "06-25")),
    ],
)
def test_period_of_a_day(rhythm, found):
    assert period_on(rhythm, date(2026, 6, 18)) == found


def test_the_days_after_the_last_friday_belong_to_the_next_month():
    assert period_on(Rhythm("last"), date(2026, 12, 26)) == Stretch(date(2026, 12, 26), date(2027, 1, 29))


def test_periods_of_visits_run_from_one_to_the_next():
    first, second = date(2026, 6, 4), date(2026, 6, 18)
    found = periods(Rhythm("visit"), date(2026, 6, 1), date(2026, 6, 30), [second, first, second, date(2026, 7, 2)])
    assert found == [stretch("06-01", "06-04"), stretch("06-05", "06-18")]
    assert periods(Rhythm("visit"), first, second) == []


def test_parts_of_weeks_and_months():
    assert part_of("week", stretch("06-01", "06-10")) == Fraction(10, 7)
    assert part_of("month", stretch("06-10", "06-24")) == Fraction(1, 2)
    assert part_of("month", stretch("01-31", "03-01")) == Fraction(1, 31) + 1 + Fraction(1, 31)


kinds = st.sampled_from(["week", "fortnight", "month", "quarter", "last"])
days = st.dates(date(2000, 1, 1), date(2036, 12, 31))


@given(kinds, st.none() | days, days, st.integers(0, 400))
def test_periods_follow_each_other_without_a_gap(kind, anchor, since, length):
    rhythm, until = Rhythm(kind, anchor), since + timedelta(length)
    found = periods(rhythm, since, until)
    assert found[0].since <= since <= found[0].until
    assert found[-1].since <= until <= found[-1].until
    for one, following in zip(found, found[1:], strict=False):
        assert following.since == one.until + timedelta(1)
    assert all(period_on(rhythm, day) == one for one in found for day in (one.since, one.until))


@given(days, st.integers(0, 400), st.integers(0, 400))
def test_parts_add_up(since, first, second):
    middle, end = since + timedelta(first), since + timedelta(first + second + 1)
    for per in ("week", "month"):
        halves = [Stretch(since, middle), Stretch(middle + timedelta(1), end)]
        assert sum(part_of(per, half) for half in halves) == part_of(per, Stretch(since, end))
