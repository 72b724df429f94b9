"""What people type about a cabinet: its code, and moments without seconds."""

from datetime import timedelta

import pytest

from machines.cabinets.rules_entry import clean_code, in_order, next_code


@pytest.mark.parametrize(("typed", "kept"), [("c-7", "C-7"), ("  claw 12 ", "CLAW-12"), ("41", "41")])
def test_code_is_kept_one_way(typed, kept):
    assert clean_code(typed) == kept


@pytest.mark.parametrize("typed", ["", "-1", "C/7", "C\x007", "Größe", "C" * 17, "💡"])
def test_code_that_cannot_stand_in_an_address_is_refused(typed):
    with pytest.raises(ValueError, match="up to 16 letters, digits and dashes"):
        clean_code(typed)


@pytest.mark.parametrize(
    ("codes", "following"),
    [
        ([], "C-001"),
        (["LOBBY"], "C-001"),
        (["C-001", "C-009"], "C-010"),
        (["C-099"], "C-100"),
        (["A-7", "B-03", "A-9", "B-02"], "B-04"),
        (["9" * 16], ""),
    ],
)
def test_next_code_goes_on_in_the_newest_numbering(codes, following):
    assert next_code(codes) == following


def test_typed_minute_comes_after_what_happened_within_it(noon):
    assert in_order(noon, noon + timedelta(seconds=40)) == noon + timedelta(seconds=40)


@pytest.mark.parametrize("newest", [None, timedelta(minutes=1), timedelta(hours=3), -timedelta(seconds=5)])
def test_typed_moment_stays_otherwise(noon, newest):
    assert in_order(noon, newest and noon + newest) == noon
