"""Stock arithmetic on paper: the moving average."""

from fractions import Fraction

from routeapp.stock.rules import Pool, after_delivery, cost_of


def test_moving_average_by_hand():
    # 100 for $200.00 are $2.00 each. 60 are won; 40 worth $80.00 stay. 50 more for $130.00: 90 for $210.00, $2.33 each.
    first = after_delivery(Pool(), on_hand=0, quantity=100, cost_cents=20000)
    second = after_delivery(first, on_hand=40, quantity=50, cost_cents=13000)

    assert (first, first.unit_cost()) == (Pool(100, 20000), 200)
    assert (second, second.unit_cost()) == (Pool(90, 21000), Fraction(700, 3))
    # 30 of them cost $70.00 to the cent, one of them $2.33.
    assert (cost_of([(30, second)]), cost_of([(1, second)])) == (7000, 233)


def test_free_pieces_lower_the_average():
    assert after_delivery(Pool(10, 1000), on_hand=10, quantity=10, cost_cents=0).unit_cost() == 50


def test_what_is_left_is_rounded_once_half_up():
    # 3 pieces for 10 cents; one is left, worth 3 1/3 cents, and one more comes for 1 cent.
    assert after_delivery(Pool(3, 10), on_hand=1, quantity=1, cost_cents=1) == Pool(2, 4)
    assert after_delivery(Pool(2, 5), on_hand=1, quantity=1, cost_cents=0) == Pool(2, 3)


def test_stock_below_zero_is_worth_nothing():
    assert after_delivery(Pool(10, 1000), on_hand=-5, quantity=10, cost_cents=500) == Pool(10, 500)


def test_cost_of_what_was_never_bought_is_nothing():
    assert cost_of([(5, Pool())]) == 0
    assert cost_of([]) == 0


def test_costs_of_several_averages_are_rounded_together():
    assert cost_of([(1, Pool(2, 1)), (1, Pool(2, 1))]) == 1  # twice half a cent


def test_prizes_that_came_back_cost_less_than_nothing():
    assert cost_of([(-3, Pool(2, 400))]) == -600
