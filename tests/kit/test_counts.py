"""Whole numbers as people type them."""

import pytest
from django import forms

from routeapp.kit.forms import CountField


class Sheet(forms.Form):
    pieces = CountField(required=False)


@pytest.mark.parametrize(
    ("typed", "pieces"),
    [
        ("12310", 12310),
        ("12.310", 12310),
        ("13.000", 13000),
        ("1.000.000", 1_000_000),
        ("12,310", 12310),
        ("12 310", 12310),
        ("12\u202f310", 12310),
        ("12'310", 12310),
        ("5.0", 5),
        ("007", 7),
        ("", None),
    ],
)
def test_number_with_signs_between_its_thousands_is_not_cut(typed, pieces):
    form = Sheet({"pieces": typed})

    assert form.is_valid(), form.errors
    assert form.cleaned_data["pieces"] == pieces


@pytest.mark.parametrize("typed", ["1.5", "1,25", "0.125", "1.2345", "12,31", "many", "-3"])
def test_what_is_no_whole_number_is_refused(typed):
    assert not Sheet({"pieces": typed}).is_valid()
