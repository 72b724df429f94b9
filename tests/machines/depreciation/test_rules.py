"""Spreading a cost over years, against the published tables and their traps."""

from calendar import monthrange
from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from machines.depreciation import rules
from machines.depreciation.rules import Choice
from machines.depreciation.rules_tables import TABLES, Timing, allowance_on, table_for

DOLLAR = 100
SPRING = date(2024, 4, 10)


def half_year(years):
    return table_for(years, Timing.HALF_YEAR, SPRING)


@pytest.mark.parametrize("table", TABLES, ids=lambda one: f"{one.name}-{one.years}")
def test_each_column_comes_to_100_percent(table):
    # IRS Publication 946, Appendix A, Tables; are from memory and checked by their sums.
    assert sum(table.rates) == 10_000
    assert len(table.rates) == table.years + 1


def test_printed_table_is_not_the_formula():
    # Table A-1, 7 years: 8.93, 8.92, 8.93 are printed where 200 % declining balance gives 8.925 each.
    left, exact = Fraction(100), []
    for number in range(8):
        declining = left * Fraction(2, 7) * (Fraction(1, 2) if number == 0 else 1)
        even = left / (Fraction(15, 2) - number) * (Fraction(1, 2) if number == 0 else 1)
        exact.append(min(left, max(declining, even)))
        left -= exact[-1]

    assert [round(float(one), 3) for one in exact] == [14.286, 24.490, 17.493, 12.495, 8.925, 8.925, 8.925, 4.462]
    assert [one / 100 for one in half_year(7).rates] == [14.29, 24.49, 17.49, 12.49, 8.93, 8.92, 8.93, 4.46]


def test_ten_thousand_dollars_of_seven_year_property():
    # Table A-1 of Publication 946 on $10,000.
    parts = rules.plugged(10_000_00, half_year(7).rates, DOLLAR)

    assert [cents // 100 for cents in parts] == [1429, 2449, 1749, 1249, 893, 892, 893, 446]


@pytest.mark.parametrize(
    ("basis", "rounded_each", "last"),
    [(2_500_00, 2_499_00, 113_00), (3_999_99, 4_001_00, 176_99)],
)
def test_last_year_takes_what_rounding_lost_or_gained(basis, rounded_each, last):
    # Worked out by hand from Table A-1, 7 years: whole dollars each year would come to 2,499 and 4,001.
    rates = half_year(7).rates
    alone = [rules.half_up(Fraction(basis * rate, 1_000_000)) * 100 for rate in rates]

    assert sum(alone) == rounded_each
    assert rules.plugged(basis, rates, DOLLAR) == [*alone[:-1], last]
    assert sum(rules.plugged(basis, rates, DOLLAR)) == basis


def choice(cost=10_000_00, day=SPRING, **more):
    return Choice(cost=cost, in_service=day, class_years=7, **more)


def tabled(one, table=None):
    return [(year.year, year.cents) for year in rules.by_table(one, table or half_year(7), DOLLAR)]


def test_sale_takes_half_of_its_year_by_the_half_year_table():
    # Publication 946 (from memory): half of the full amount in the year of the sale.
    assert tabled(choice(sold_on=date(2026, 2, 1))) == [(2024, 1_429_00), (2025, 2_449_00), (2026, 875_00)]


@pytest.mark.parametrize(
    ("sold_on", "part"),
    [  # Publication 946 (from memory): 12.5, 37.5, 62.5 and 87.5 % of the full amount by quarter of the sale.
        (date(2025, 3, 31), 344_00),
        (date(2025, 4, 1), 1_033_00),
        (date(2025, 9, 30), 1_722_00),
        (date(2025, 12, 31), 2_411_00),
    ],
)
def test_sale_by_a_mid_quarter_table_counts_to_the_middle_of_its_quarter(sold_on, part):
    table = table_for(7, Timing.QUARTER_4, SPRING)  # 27.55 % in the second year: 2,755

    assert tabled(choice(day=date(2024, 11, 5), sold_on=sold_on), table) == [(2024, 357_00), (2025, part)]


def test_sale_in_the_last_year_of_the_half_year_table_changes_nothing():
    kept, sold = choice(), choice(sold_on=date(2031, 1, 3))

    assert tabled(sold) == tabled(kept)
    assert sum(cents for _, cents in tabled(kept)) == 10_000_00


def test_sold_in_the_year_it_came_takes_nothing_by_a_table():
    assert tabled(choice(sold_on=date(2024, 12, 1), bonus_bp=10_000)) == []


def test_section_179_and_bonus_come_off_first():
    # 10,000 less 2,000 is 8,000, of it 60 % is 4,800; the table spreads 3,200: 457.28 the first year, 783.68 the next.
    years = rules.by_table(choice(section_179=2_000_00, bonus_bp=6_000), half_year(7), DOLLAR)

    assert (years[0].special, years[0].cents, years[1].cents) == (6_800_00, 7_257_00, 784_00)
    assert sum(year.cents for year in years) == 10_000_00


def test_whole_bonus_takes_the_odd_cents_too():
    assert tabled(choice(cost=3_999_99, bonus_bp=10_000))[:2] == [(2024, 3_999_99), (2025, 0)]


def test_more_than_40_percent_in_the_last_quarter_makes_all_of_the_year_mid_quarter():
    # 26 USC 168(d)(3): more than 40 %, so exactly 40 % is not.
    early, late = choice(cost=6_000_00), choice(cost=4_000_00, day=date(2024, 10, 1))
    over = {1: early, 2: choice(cost=4_000_01, day=date(2024, 10, 1))}

    assert {spread.table.name for spread in rules.spreads({1: early, 2: late}, DOLLAR).values()} == {"A-1"}
    assert [spread.table.name for spread in rules.spreads(over, DOLLAR).values()] == ["A-3", "A-5"]


def test_test_leaves_out_section_179_and_what_was_sold_in_the_same_year():
    early = choice(cost=5_000_00)
    halved = choice(cost=5_000_00, day=date(2024, 12, 1), section_179=2_000_00)
    gone = choice(cost=9_000_00, day=date(2024, 11, 1), sold_on=date(2024, 12, 1))

    test = rules.quarter_tests([early, halved, gone])[2024]

    assert (test.last_quarter, test.whole_year, test.is_mid_quarter) == (3_000_00, 8_000_00, False)


def test_accountant_may_fix_the_convention():
    late = choice(day=date(2024, 12, 1), convention=rules.Convention.HALF_YEAR)
    early = choice(convention=rules.Convention.MID_QUARTER)

    assert [one.table.name for one in rules.spreads({1: late, 2: early}, DOLLAR).values()] == ["A-1", "A-3"]


def test_day_before_the_tables_and_cabinet_without_a_class_have_no_table():
    old, none = choice(day=date(1986, 12, 31)), Choice(cost=100, in_service=SPRING)

    assert [(one.table, one.tabled) for one in rules.spreads({1: old, 2: none}, DOLLAR).values()] == [(None, [])] * 2


def test_straight_line_takes_each_day_the_same():
    # 1,826 days in five years with one 29 February: 2,000.00 less 174.00 is 1.00 a day.
    years = rules.straight_line(Choice(2_000_00, date(2025, 7, 1), life_years=5, worth_after=174_00))

    assert [(one.year, one.cents) for one in years] == [
        *((2025, 184_00), (2026, 365_00), (2027, 365_00), (2028, 366_00), (2029, 365_00), (2030, 181_00)),
    ]
    assert rules.between(years, date(2026, 2, 1), date(2026, 2, 28)) == 28_00


def test_straight_line_stops_on_the_day_it_is_sold():
    years = rules.straight_line(Choice(2_000_00, date(2025, 7, 1), sold_on=date(2025, 7, 10), worth_after=174_00))

    assert [one.cents for one in years] == [10_00]


def test_straight_line_from_the_29th_of_february():
    assert rules.straight_line(Choice(1_00, date(2024, 2, 29), life_years=1))[-1].last == date(2025, 2, 28)


@settings(max_examples=25)
@given(
    cost=st.integers(0, 10**8),
    day=st.dates(date(1990, 1, 1), date(2090, 1, 1)),
    life=st.integers(1, 12),
    timing=st.sampled_from(Timing),
    bonus=st.integers(0, 10_000),
)
def test_every_spread_comes_to_the_cost_and_its_months_to_its_years(cost, day, life, timing, bonus):
    one = choice(cost=cost, day=day, life_years=life, bonus_bp=bonus)
    both = rules.straight_line(one), rules.by_table(one, table_for(7, timing, day), DOLLAR)

    for years in both:
        assert sum(year.cents for year in years) == cost
        assert all(year.cents >= 0 for year in years)
        months = [(year.year, month) for year in years for month in range(1, 13)]
        spread = [rules.between(years, date(y, m, 1), date(y, m, monthrange(y, m)[1])) for y, m in months]
        assert sum(spread) == cost


def test_published_allowance_changes_within_2025():
    # Bradford Tax Institute: the phase-down is 80, 60, 40 %, then 100 % from 20 January 2025.
    days = (date(2022, 5, 1), date(2023, 5, 1), date(2024, 5, 1), date(2025, 1, 19), date(2025, 1, 20))

    assert [(found := allowance_on(day)) and found.bp for day in days] == [None, 8_000, 6_000, 4_000, 10_000]
