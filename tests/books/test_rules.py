"""The journal on paper: names of accounts, the day an entry is booked on, and the plain-text ledger."""

from datetime import UTC, date, datetime, timedelta

import pytest
from beancount import loader
from beancount.core.account import is_valid
from hypothesis import given, settings
from hypothesis import strategies as st

from routeapp.books import rules
from routeapp.books.rules import Calendar, Closing
from routeapp.books.rules_accounts import Chart, part, parts
from routeapp.books.rules_returns import threshold

START = datetime(2026, 1, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("C-001", "C-001"),
        ("lantern arcade", "Lantern-arcade"),
        ("  Zoë's & co. ", "Zoë-s-co"),
        ("9 Pier Rd", "9-Pier-Rd"),
        ("½ price", "Price"),
        ("東京", "X東京"),
        ("--", "X"),
        ("", "X"),
        ("ß bar", "Xß-bar"),
    ],
)
def test_name_becomes_part_of_an_account(name, made):
    assert part(name) == made
    assert is_valid(f"Assets:{part(name)}")


@given(st.text(max_size=40))
@settings(max_examples=200)
def test_any_name_makes_an_account_that_beancount_takes(name):
    assert is_valid(f"Income:Take:{part(name)}")


def test_of_two_names_alike_the_later_carries_its_number():
    assert parts({7: "The Pier", 3: "the pier", 9: "Dock"}) == {3: "The-pier", 7: "The-Pier", 9: "Dock"}
    assert parts({3: "the pier", 7: "the, pier"}) == {3: "The-pier", 7: "The-pier-7"}


def moment(days):
    return START + timedelta(days=days)


def day(days):
    return moment(days).date()


def test_late_fact_is_booked_on_the_first_open_day():
    known = Calendar([Closing(date(2026, 1, 1), moment(40))])  # January closed on 10 February
    assert known.day(day(5), moment(39)) == day(5)  # came in time
    assert known.day(day(5), moment(41)) == date(2026, 2, 1)
    assert known.day(day(35), moment(41)) == day(35)  # February was open


def test_month_opened_again_takes_what_comes_until_it_is_closed_anew():
    known = Calendar([Closing(date(2026, 1, 1), moment(40), moment(50)), Closing(date(2026, 1, 1), moment(60))])
    assert [known.day(day(5), moment(at)) for at in (45, 55, 65)] == [date(2026, 2, 1), day(5), date(2026, 2, 1)]


def test_closing_a_month_closes_all_before_it():
    known = Calendar([Closing(date(2026, 3, 1), moment(100))])
    assert known.day(date(2025, 7, 4), moment(101)) == date(2026, 4, 1)


FACTS = st.lists(st.tuples(st.integers(0, 400), st.integers(0, 60), st.integers(1, 9999)), max_size=40)


@given(FACTS, st.lists(st.integers(0, 12), unique=True, max_size=8))
@settings(max_examples=150)
def test_figures_of_a_closed_month_never_change(facts, delays):
    """Months are closed one after the other, each some days after its end; facts come late, in any order."""
    closings = []
    for number, delay in enumerate(sorted(delays)):
        month = date(2026 + number // 12, number % 12 + 1, 1)
        after = datetime.combine(rules.month_after(month), datetime.min.time(), UTC)
        closings.append(Closing(month, after + timedelta(days=delay)))
    known = Calendar(closings)
    booked = [(known.day(day(at), moment(at + late)), moment(at + late), cents) for at, late, cents in facts]
    for closing in closings:
        then = [one for one in booked if one[1] <= closing.closed_at and one[0] < rules.month_after(closing.month)]
        now = [one for one in booked if one[0] < rules.month_after(closing.month)]
        assert sorted(then) == sorted(now)


def test_ledger_takes_words_that_would_break_it():
    words = 'a "b" \\ c\n  d; * # ^ {'
    one = rules.entry("M1", day(5), day(5), "Assets:Bank", "Equity:Owner", 1234, words)
    text = "".join(rules.ledger([one], ["Assets:Bank", "Equity:Owner"], 'The "Lamp"', "USD"))
    entries, errors, _ = loader.load_string(text)
    assert errors == []
    assert entries[-1].narration == "a 'b' / c d; * # ^ {"
    assert entries[-1].meta["entry"] == "M1"


def test_amounts_have_the_digits_of_their_currency():
    one = rules.entry("M1", day(5), day(5), "A", "B", 1234, "")
    assert [list(rules.rows([one], code))[1][4] for code in ("USD", "JPY", "KWD")] == ["12.34", "1234", "1.234"]


def test_entry_below_zero_goes_the_other_way():
    one = rules.entry("M1", day(5), day(5), "A", "B", -5, "")
    assert (one.debit, one.credit, one.cents) == ("B", "A", 5)


def test_every_account_of_the_chart_can_be_opened():
    chart = Chart({1: "C-001"}, {1: "Dock"}, ("Florida", "Monroe & Keys"))
    assert all(is_valid(one) for one in chart.all())
    assert {chart.of("box", 1, 1), chart.of("players", 9, 9), chart.of("host", None, 1)} <= set(chart.all())
    assert chart.tax("Monroe & Keys")[1] in chart.all()


@pytest.mark.parametrize(
    ("year", "cents"),
    # $600 to the end of 2025, $2,000 from 2026, indexed from 2027: Public Law 119-21 as told by the National
    # Association of Tax Professionals, "One Big Beautiful Bill raises 1099 reporting thresholds".
    [(2025, 60_000), (2026, 200_000), (2027, None)],
)
def test_threshold_of_a_year_stands_in_a_dated_table(year, cents):
    assert threshold(year, "USD").cents == cents
    assert threshold(year, "EUR") is None
