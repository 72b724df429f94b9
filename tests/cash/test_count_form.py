"""What a person types when counting money, and what becomes of it."""

import pytest

from routeapp.cash.forms import BagCountForm, CountForm
from routeapp.cash.models import How
from routeapp.kit import money


def form(prefix=None, **typed):
    names = {f"{prefix}-{name}" if prefix else name: value for name, value in typed.items()}
    return CountForm(names, prefix=prefix)


@pytest.fixture
def use_currency():
    yield money.activate
    money.activate("USD")


def result(**typed):
    count = form(**typed)
    assert count.is_valid(), count.errors
    return count.result()


def test_count_by_coin_and_note():
    assert result(c25="101", n100="12", n2000="", c100="0") == (How.DENOMINATIONS, 3725, {"c25": 101, "n100": 12})


def test_count_by_weight_with_notes():
    assert result(w25="5670", n100="3") == (How.WEIGHT, 25300, {"c25": 1000, "n100": 3})


def test_weighed_and_loose_coins_of_one_kind_add_up():
    assert result(w25="226.8", c25="2") == (How.WEIGHT, 1050, {"c25": 42})


def test_only_the_sum():
    assert result(sum="212.25") == (How.AMOUNT, 21225, {})


@pytest.mark.parametrize(("currency", "asked"), [("USD", "or only the sum"), ("SEK", "The sum")])
def test_sum_is_the_only_thing_asked_where_no_pieces_are_known(use_currency, currency, asked):
    use_currency(currency)
    assert form().fields["sum"].label == asked


def test_coins_of_several_masses_are_counted_and_not_weighed(use_currency):
    use_currency("CAD")
    count = form(c200="3", n500="1")
    assert (count.is_valid(), count.result()[1], count.weight_fields()) == (True, 1100, [])


def test_typed_zero_is_a_count_and_nothing_typed_is_none():
    assert result(sum="0") == (How.AMOUNT, 0, {})
    assert [form(sum="0"), form(c25="0"), form(sum="")][0].is_valid()
    filled = [form(sum="0"), form(c25="0"), form(w25="0"), form(sum="")]
    assert [one.is_valid() and one.is_filled() for one in filled] == [True, True, True, False]


def test_fields_carry_the_prefix_of_their_cabinet():
    count = form(prefix="7-cash", n500="2")
    assert count.is_valid()
    assert count.result()[1] == 1000
    assert 'name="7-cash-c25"' in str(count["c25"])


@pytest.mark.parametrize(("typed", "grams"), [("5670", 1000), ("5,670", 1000), ("5670,0", 1000), ("5,670.00", 1000)])
def test_grams_are_read_as_they_were_meant(typed, grams):
    assert result(w25=typed)[2] == {"c25": grams}


@pytest.mark.parametrize(
    "typed",
    [
        {"c25": "-1"},
        {"c25": "1.5"},
        {"c25": "many"},
        {"c25": "9" * 30},
        {"c25": "\x00"},
        {"w25": "-1"},
        {"w25": "5.670"},
        {"w25": "NaN"},
        {"w25": "Infinity"},
        {"w25": "1e300"},
        {"w25": "1e-300"},
        {"w25": "9" * 300},
        {"w25": "\x001"},
        {"sum": "-1"},
        {"sum": "0.125"},
        {"sum": "lots"},
        {"sum": "9" * 13},
        {"sum": "5", "c25": "20"},
        {"sum": "5", "w25": "20"},
    ],
)
def test_what_cannot_be_meant_is_refused(typed):
    assert not form(**typed).is_valid()


def test_kilograms_are_asked_about():
    assert form(w25="5.670").errors["w25"] == ["Write grams, not kilograms, with at most two decimals."]


def test_scale_is_told_coin_by_coin():
    count = form(w25="1001.2", w10="22.68")
    assert count.is_valid()
    assert count.scale() == ["177 × $0.25, 2.39 g under", "10 × $0.10, to the gram"]


def test_fields_in_use_are_not_folded_away():
    assert (form(w25="x").has_weight(), form(c25="1").has_weight(), form(n10000="1").has_other()) == (True, False, True)


def test_bag_needs_a_count(owner):
    said = {"uuid": "8f3f0b52-6a58-4f7e-9d5e-1f6b7a0c0001", "note": "torn seal"}
    count = BagCountForm(said, off=lambda cents: 0, by=owner)
    assert not count.is_valid()
    assert count.non_field_errors() == ["Say what was in the bag. If it was empty, type 0 as the sum."]
