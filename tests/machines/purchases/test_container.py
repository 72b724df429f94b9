"""Container numbers by ISO 6346."""

import pytest

from machines.purchases.rules_container import VALUES, container_number


@pytest.mark.parametrize("number", ["CSQU3054383", "MEDU8707688", "ABCU0000070"])
def test_right_number_is_kept(number):
    """The first two: https://solidt.eu/site/c-basic-validate-container-number; the last for a remainder of 10."""
    assert container_number(number) == number


def test_letters_leave_out_the_multiples_of_eleven():
    """ISO 6346: B 12, K 21, L 23, U 32, V 34, Z 38."""
    assert [VALUES[letter] for letter in "ABKLUVZ"] == [10, 12, 21, 23, 32, 34, 38]


def test_number_is_read_as_it_is_painted():
    assert container_number(" csqu 305438-3 ") == "CSQU3054383"


def test_slip_is_told_with_the_digit_that_would_be_right():
    with pytest.raises(ValueError, match="after CSQU305438 the last digit would be 3"):
        container_number("CSQU3054387")


@pytest.mark.parametrize("text", ["", "CSQU305438", "CSQA3054383", "3054383CSQU", "ＣＳＱＵ3054383"])
def test_what_is_no_number_is_told(text):
    with pytest.raises(ValueError, match="is no container number"):
        container_number(text)
