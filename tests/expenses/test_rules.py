"""Mileage on paper: dated rates, mid-year changes, other units, distances by road."""

from datetime import date

import pytest

from routeapp.expenses.rules import STANDARD, Rate, by_road, rate_on, worth
from routeapp.kit import money

# Internal Revenue Service, standard mileage rates, business, cents a mile:
# https://www.irs.gov/tax-professionals/standard-mileage-rates (2011 to 2020),
# https://site.performertrack.com/usasmr (2021, 2022), from memory (2023, 2024),
# https://calculatorhub.com/us/irs-mileage-rate-history/ (2025), IRS Notice 2026-10 (2026).
PUBLISHED = [
    ("2011-01-01", "51"),
    ("2011-06-30", "51"),
    ("2011-07-01", "55.5"),
    ("2012-05-01", "55.5"),
    ("2013-05-01", "56.5"),
    ("2014-05-01", "56"),
    ("2015-05-01", "57.5"),
    ("2016-05-01", "54"),
    ("2017-05-01", "53.5"),
    ("2018-05-01", "54.5"),
    ("2019-05-01", "58"),
    ("2020-05-01", "57.5"),
    ("2021-12-31", "56"),
    ("2022-01-01", "58.5"),
    ("2022-06-30", "58.5"),
    ("2022-07-01", "62.5"),
    ("2022-12-31", "62.5"),
    ("2023-05-01", "65.5"),
    ("2024-05-01", "67"),
    ("2025-05-01", "70"),
    ("2026-05-01", "72.5"),
]


@pytest.mark.parametrize(("year", "said"), [(2025, "$0.70 a mile"), (2026, "$0.725 a mile")])
def test_rate_is_said_with_all_digits_of_the_currency_and_no_more_than_it_has(year, said):
    money.activate("USD")
    assert rate_on(date(year, 5, 1), [], "USD").words == said


@pytest.mark.parametrize(("day", "cents"), PUBLISHED)
def test_standard_rate_of_a_day_is_the_published_one(day, cents):
    assert rate_on(date.fromisoformat(day), [], "USD").hundredths == round(float(cents) * 100)


def test_hundred_miles_on_either_side_of_a_change_within_the_year():
    days = [date(2022, 6, 30), date(2022, 7, 1)]
    assert [worth(1000, "mi", rate_on(day, [], "USD")) for day in days] == [58_50, 62_50]


def test_standard_rates_leave_no_day_out_and_none_twice():
    for one, following in zip(STANDARD, STANDARD[1:], strict=False):
        assert (following.valid_from - one.valid_to).days == 1


def test_day_beyond_the_tables_has_no_rate():
    assert (rate_on(date(2010, 12, 31), [], "USD"), rate_on(date(2027, 1, 1), [], "USD")) == (None, None)


def test_standard_rates_are_those_of_one_country():
    assert rate_on(date(2026, 5, 1), [], "EUR") is None


def test_own_rate_wins_while_it_holds():
    own = [Rate(date(2026, 3, 1), date(2026, 3, 31), "km", 3000, "our contract")]
    assert rate_on(date(2026, 3, 15), own, "USD") == own[0]
    assert rate_on(date(2026, 4, 1), own, "USD").hundredths == 7250


@pytest.mark.parametrize(
    ("tenths", "unit", "hundredths", "per", "cents"),
    [
        (123, "mi", 6700, "mi", 824),  # 12.3 × 67 = 824.1
        (5, "mi", 6500, "mi", 33),  # 32.5 goes up
        (100, "km", 7000, "mi", 435),  # 10 km are 6.2137 miles
        (100, "mi", 3000, "km", 483),  # 10 miles are 16.09344 km
    ],
)
def test_worth_of_a_drive_is_rounded_once(tenths, unit, hundredths, per, cents):
    assert worth(tenths, unit, Rate(date(2026, 1, 1), None, per, hundredths, "")) == cents


def test_distance_by_road_is_a_fifth_longer_than_straight_lines():
    # One degree of latitude from the equator is 110 574 m on WGS 84 (from memory): 132.7 km by road.
    assert by_road([(0, 0), (1, 0)], "km") == 1327
    assert by_road([(0, 0), (1, 0), (0, 0)], "km") == 2654
    assert by_road([(0, 0), (1, 0)], "mi") == 824
    assert by_road([(0, 0)], "km") == 0
