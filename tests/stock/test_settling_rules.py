"""What counts and prizes meters settle, on paper. A moment is a number of days; prizes are numbers, too."""

from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest

from routeapp.stock.rules_settling import Counted, Moved, Outcome, Settled, Told, settle
from tests.factories import LONG_AGO

BEAR, OWL = 1, 2


def day(number):
    return LONG_AGO + timedelta(days=number)


def loaded(on, pieces, prize=BEAR):
    return Moved(day(on), prize, pieces)


def counted(on, pieces, prize=BEAR, key=None, **more):
    return Counted(day(on), prize, key or on * 10 + prize, pieces, **more)


def told(on, won, since):
    return Told(day(on), on, day(since), won)


def settled(facts, start=None, since=0, **more):
    """(prize, what, on which day, by whom): pieces, as the cause is named by its day."""
    found = Counter()
    for one, pieces in settle(start or {}, facts, day(since), **more).items():
        what, by = "won" if one.won else "lost", "meter" if one.by_reading else "count"
        found[one.prize, what, one.by_reading or one.by_count // 10, by] += pieces
    return dict(found)


@pytest.mark.parametrize(
    ("start", "facts", "found"),
    [
        (0, [], {}),
        (10, [counted(1, 10)], {}),
        (10, [counted(1, 7)], {(BEAR, "won", 1, "count"): 3}),
        (10, [counted(1, 12)], {(BEAR, "lost", 1, "count"): -2}),
        (
            10,
            [counted(1, 7), loaded(1, 5), counted(2, 10)],
            {(BEAR, "won", 1, "count"): 3, (BEAR, "won", 2, "count"): 2},
        ),
        (10, [loaded(0, -1), counted(1, 7)], {(BEAR, "won", 1, "count"): 2}),
        (
            10,
            [counted(1, 4, key=11), counted(1, 6, key=12)],
            {(BEAR, "won", 1, "count"): 6, (BEAR, "lost", 1, "count"): -2},
        ),
    ],
)
def test_a_count_settles_what_is_missing_once(start, facts, found):
    assert settled(facts, {BEAR: start}) == found
    assert settled(facts, {BEAR: start}, in_cabinet=False) == {
        (prize, "lost", on, by): sum(many for key, many in found.items() if key[2] == on) for prize, _, on, by in found
    }


def test_what_the_meter_tells_is_taken_from_what_nobody_counted_in_proportion():
    # 10 bears and 5 owls, 4 won: 2.67 and 1.33, of which the larger remainder gets the piece.
    facts = [loaded(0, 10), loaded(0, 5, OWL), told(7, 4, since=0)]

    assert settled(facts) == {(BEAR, "won", 7, "meter"): 3, (OWL, "won", 7, "meter"): 1}


def test_the_meter_takes_no_more_than_lies_there_by_the_books():
    assert settled([loaded(0, 3), told(7, 8, since=0)]) == {(BEAR, "won", 7, "meter"): 3}
    assert settled([told(7, 8, since=0), loaded(7, 20)]) == {}


def test_where_a_count_is_there_at_both_ends_what_is_missing_beyond_the_meter_is_lost():
    facts = [counted(0, 20), told(7, 5, since=0), counted(7, 12)]

    assert settled(facts, {BEAR: 20}) == {(BEAR, "won", 7, "count"): 5, (BEAR, "lost", 7, "count"): 3}


def test_a_count_that_misses_fewer_than_the_meter_tells_holds():
    # Prizes of test plays went back in: the meter counted them, and the count says that they are there.
    assert settled([counted(0, 20), told(7, 5, since=0), counted(7, 17)], {BEAR: 20}) == {(BEAR, "won", 7, "count"): 3}


def test_without_a_meter_over_all_the_days_what_is_missing_was_won():
    gap = [counted(0, 20), told(7, 2, since=3), counted(7, 12)]
    nobody_knows = [counted(0, 20), counted(7, 12)]

    assert settled(gap, {BEAR: 20}) == settled(nobody_knows, {BEAR: 20}) == {(BEAR, "won", 7, "count"): 8}


def test_an_estimate_says_nothing_of_what_is_lost():
    at_the_end = [counted(0, 20), told(7, 5, since=0), counted(7, 12, exact=False)]
    at_the_start = [counted(0, 20, exact=False), told(7, 5, since=0), counted(7, 12)]

    assert settled(at_the_end, {BEAR: 20}) == settled(at_the_start, {BEAR: 20}) == {(BEAR, "won", 7, "count"): 8}


def test_counted_later_the_metered_ones_stay_won_and_the_difference_is_lost_or_found():
    start = [counted(0, 20), told(7, 6, since=0), told(14, 4, since=7)]

    assert settled([*start, counted(14, 9)], {BEAR: 20}) == {
        (BEAR, "won", 7, "meter"): 6,
        (BEAR, "won", 14, "count"): 4,
        (BEAR, "lost", 14, "count"): 1,
    }
    assert settled([*start, counted(14, 16)], {BEAR: 20}) == {
        (BEAR, "won", 7, "meter"): 6,
        (BEAR, "lost", 14, "count"): -2,
    }


def test_a_count_puts_right_which_prizes_the_meter_took():
    # All six were bears; the meter had taken three of each.
    facts = [loaded(0, 10), loaded(0, 10, OWL), told(7, 6, since=0), told(14, 0, since=7)]

    assert settled([*facts, counted(14, 4), counted(14, 10, OWL)]) == {
        (BEAR, "won", 7, "meter"): 3,
        (OWL, "won", 7, "meter"): 3,
        (BEAR, "won", 14, "count"): 3,
        (OWL, "won", 14, "count"): -3,
    }


def test_the_rest_goes_to_prizes_that_were_not_counted():
    facts = [loaded(0, 10), loaded(0, 10, OWL), told(7, 6, since=0), counted(7, 8)]

    assert settled(facts) == {(BEAR, "won", 7, "count"): 2, (OWL, "won", 7, "meter"): 4}


def test_what_a_count_between_two_readings_told_is_not_told_again():
    facts = [loaded(0, 20), counted(3, 16), told(7, 6, since=0)]

    assert settled(facts) == {(BEAR, "won", 3, "count"): 4, (BEAR, "won", 7, "meter"): 2}


def test_what_was_settled_before_stays_and_counts():
    # Three of the bears were taken by the meter on day 7; from day 14 on all is settled anew.
    facts = [counted(0, 10), counted(0, 10, OWL), told(7, 6, since=0), told(14, 1, since=7)]
    facts += [Settled(day(7), Outcome(prize, True, by_reading=7), 3) for prize in (BEAR, OWL)]
    whole = settled([*facts[:4], counted(14, 3), counted(14, 10, OWL)], {BEAR: 10, OWL: 10})

    later = settled([*facts, counted(14, 3), counted(14, 10, OWL)], {BEAR: 10, OWL: 10}, since=14)

    assert later == {(BEAR, "won", 14, "count"): 4, (OWL, "won", 14, "count"): -3}
    assert whole == later | {(BEAR, "won", 7, "meter"): 3, (OWL, "won", 7, "meter"): 3}


def test_the_order_of_facts_does_not_matter():
    facts = [loaded(0, 10), loaded(0, 10, OWL), told(7, 6, since=0), counted(7, 8), loaded(7, 4), counted(9, 5, OWL)]

    assert settled(facts[::-1]) == settled(facts) == settled([replace(fact) for fact in facts])
