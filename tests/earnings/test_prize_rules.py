"""How the take of a cabinet is shared out to its prizes, on paper."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from routeapp.earnings.rules_prizes import Came, Stop, added, costs_as_booked, shared_out
from tests.factories import LONG_AGO

OWL, ROBOT, KITE = 1, 2, 3


def stop(take, won=None, inside=None):
    return Stop(location=1, at=LONG_AGO, take=take, won=won or {}, inside=inside or {})


def test_take_goes_by_the_pieces_won():
    # 90.01 by six to three: 60.0067 and 30.0033, and the odd cent to the larger remainder.
    assert shared_out([stop(9001, {OWL: 6, ROBOT: 3}, {OWL: 40, ROBOT: 20})]) == [{OWL: 6001, ROBOT: 3000}]


def test_a_stop_that_tells_of_none_goes_by_the_next_that_does():
    stops = [stop(1000, {}, {OWL: 40, ROBOT: 20}), stop(900, {ROBOT: 3}, {OWL: 40, ROBOT: 20})]
    assert shared_out(stops) == [{ROBOT: 1000}, {ROBOT: 900}]


def test_pieces_told_where_the_cash_stayed_inside_go_with_the_next_cash_and_with_no_card_sales():
    facts = {"location": 1, "at": LONG_AGO, "inside": {OWL: 5, ROBOT: 5}}
    stayed, card = Stop(won={OWL: 6}, left_in_box=True, **facts), Stop(take=500, left_in_box=True, **facts)
    stops = [stayed, card, *(Stop(take=900, won={ROBOT: 3}, **facts) for _ in range(2))]
    assert shared_out(stops)[2:] == [{OWL: 600, ROBOT: 300}, {ROBOT: 900}]


def test_the_next_stop_that_tells_is_the_one_that_counts():
    both = {OWL: 40, ROBOT: 20}
    stops = [stop(1000, {}, both), stop(900, {ROBOT: 3}, both), stop(800, {OWL: 1}, both)]
    assert shared_out(stops) == [{ROBOT: 1000}, {ROBOT: 900}, {OWL: 800}]


def test_what_lay_inside_counts_where_none_is_told_any_more():
    assert shared_out([stop(900, {ROBOT: 3}), stop(3000, {}, {OWL: 34, ROBOT: 17})])[1] == {OWL: 2000, ROBOT: 1000}


def test_a_prize_gets_nothing_of_days_before_it_came():
    stops = [stop(700, {}, {OWL: 5}), stop(500, {ROBOT: 2}, {ROBOT: 9, OWL: 5})]
    assert shared_out(stops) == [{OWL: 700}, {ROBOT: 500}]


def test_take_of_a_cabinet_without_known_prizes_stays_whole():
    assert shared_out([stop(700, {}, {OWL: 0, ROBOT: -4}), stop(500)]) == [{}, {}]


def test_what_a_count_gave_back_to_the_books_weighs_nothing():
    assert shared_out([stop(700, {OWL: -2, ROBOT: 3}, {OWL: 5})]) == [{ROBOT: 700}]


PIECES = st.dictionaries(st.sampled_from([OWL, ROBOT, KITE]), st.integers(-3, 9))
STOPS = st.lists(st.builds(stop, st.integers(-500, 90_000), PIECES, PIECES), max_size=8)


@settings(max_examples=60)
@given(STOPS)
def test_shares_of_each_stop_come_to_its_take_or_there_are_none(stops):
    for one, shares in zip(stops, shared_out(stops), strict=True):
        known = any(many > 0 for pieces in (one.won, one.inside) for many in pieces.values())
        assert (sum(shares.values()), bool(shares)) == ((one.take, True) if known else (0, False))


@settings(max_examples=60)
@given(st.dictionaries(st.integers(1, 9), st.integers(-300, 3000), max_size=5), st.integers(-3, 3))
def test_costs_of_prizes_come_to_what_was_booked(costs, odd):
    booked = sum(costs.values()) + odd
    assert sum(costs_as_booked(booked, costs).values()) == (booked if costs else 0)


def test_an_odd_cent_is_the_dearest_ones():
    assert costs_as_booked(751, {OWL: 480, ROBOT: 240, KITE: 30}) == {OWL: 481, ROBOT: 240, KITE: 30}


@pytest.mark.parametrize(
    ("came", "figures"),
    [
        (Came(6, 480, 8001, 30), (7521, pytest.approx(5.9993, abs=1e-4), 1254, 251)),
        (Came(0, 0, 2000), (2000, None, None, None)),
        (Came(2, 500, 0, 4), (-500, None, -250, -125)),
        (Came(-1, -80, 100, 1), (180, -80.0, None, 180)),
    ],
)
def test_what_a_prize_leaves(came, figures):
    assert (came.left, came.share, came.left_a_piece, came.left_a_day) == figures


def test_what_prizes_came_to_adds_up():
    assert added([Came(6, 480, 8001, 30), Came(3, 240, 4000, 31)]) == Came(9, 720, 12_001, 61)
    assert added([]) == Came()
