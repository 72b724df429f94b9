"""When an order will be at the door, step by step."""

from datetime import date

import pytest

from machines.purchases.rules_steps import Expected, Reached, expected

START = date(2026, 5, 4)


def test_without_a_step_it_is_the_quote_and_how_late_they_usually_are():
    known, new = (expected(START, 25, 35, [], 1.15, seen) for seen in (2, 0))

    assert known == Expected(date(2026, 7, 12), "60 days quoted, 15 % longer, as usual with this supplier")
    assert new.why == "60 days quoted, 15 % longer, as is common before a supplier's first delivery"


@pytest.mark.parametrize(
    ("step", "on", "until"),
    [("made", date(2026, 6, 1), date(2026, 7, 11)), ("shipped", date(2026, 6, 1), date(2026, 7, 7)),
     ("port", date(2026, 7, 1), date(2026, 7, 11)), ("released", date(2026, 7, 1), date(2026, 7, 7)),
     ("road", date(2026, 7, 1), date(2026, 7, 4))],
)  # fmt: skip
def test_each_step_leaves_its_part_of_the_way(step, on, until):
    """Parts of the way: common practice, no source."""
    assert expected(START, 25, 40, [Reached(step, on)], 1.0, 2).on == until


def test_day_that_the_carrier_named_counts():
    found = expected(START, 25, 35, [Reached("shipped", date(2026, 6, 1), said=date(2026, 7, 20))], 1.15, 2)
    assert found == Expected(date(2026, 7, 20), "said when it was shipped")


def test_newer_step_counts_more_than_what_was_said_before_it():
    reached = [Reached("shipped", date(2026, 6, 1), said=date(2026, 7, 20)), Reached("road", date(2026, 7, 1))]
    assert expected(START, 25, 25, reached, 1.0, 2).on == date(2026, 7, 3)


def test_delivered_is_the_day_it_came():
    found = expected(START, 25, 35, [Reached("delivered", date(2026, 7, 1))], 1.15, 2)
    assert found == Expected(date(2026, 7, 1), "delivered", is_done=True)
