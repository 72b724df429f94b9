"""Sizes and weights in the business's unit. Exact factors of NIST Handbook 44, Appendix C (from memory)."""

from decimal import Decimal

import pytest
from django import forms
from hypothesis import given
from hypothesis import strategies as st

from routeapp.kit import units
from routeapp.kit.forms import MeasureField


@pytest.fixture(autouse=True)
def metric_again():
    yield
    units.activate(units.Units.METRIC)


class Sheet(forms.Form):
    width = MeasureField(what=units.LENGTH, label="Width", required=False)


@pytest.mark.parametrize(("typed", "kept"), [("85.5", 86), ("85,5", 86), ("85", 85), ("", None)])
def test_measure_is_read_with_a_point_or_a_comma(typed, kept):
    form = Sheet({"width": typed})
    assert form.is_valid(), form.errors
    assert form.cleaned_data["width"] == kept


@pytest.mark.parametrize(
    ("system", "value", "what", "text"),
    [
        ("metric", 600, units.LENGTH, "600 mm"),
        ("customary", 254, units.LENGTH, "10.0 in"),
        ("customary", 600, units.LENGTH, "23.6 in"),
        ("metric", 640, units.VOLUME, "640 l"),
        ("customary", 640, units.VOLUME, "22.60 ft³"),
        ("metric", 120, units.WEIGHT, "120 kg"),
        ("customary", 120, units.WEIGHT, "264.6 lb"),
    ],
)
def test_measure_is_shown_in_the_unit_of_the_business(system, value, what, text):
    units.activate(system)
    assert units.as_text(value, what) == text


@given(mm=st.integers(0, 99_999))
def test_length_shown_and_saved_again_stays_as_long_as_it_looks(mm):
    units.activate("customary")
    shown = units.shown(mm, units.LENGTH)
    assert units.shown(units.kept(shown, units.LENGTH), units.LENGTH) == shown
    units.activate("metric")
    assert units.kept(units.shown(mm, units.LENGTH), units.LENGTH) == mm


def test_field_takes_inches_and_keeps_millimetres():
    units.activate("customary")
    form = Sheet({"width": "23.6"}, initial={"width": 600})
    assert (form.is_valid(), form.cleaned_data["width"]) == (True, 599)
    assert (form["width"].label, Sheet(initial={"width": 600})["width"].value()) == ("Width (in)", Decimal("23.6"))


@pytest.mark.parametrize("typed", ["-1", "wide", "1e9", "NaN", "23.65", "Infinity"])
def test_field_refuses_what_is_no_size(typed):
    units.activate("customary")
    assert list(Sheet({"width": typed}).errors) == ["width"]


def test_field_left_empty_is_nothing():
    form = Sheet({"width": ""})
    assert (form.is_valid(), form.cleaned_data["width"]) == (True, None)


@pytest.mark.parametrize("what", [units.VOLUME, units.WEIGHT])
@given(kept=st.integers(0, 99_999))
def test_volumes_and_weights_shown_and_saved_again_stay_the_same(what, kept):
    units.activate("customary")
    assert units.kept(units.shown(kept, what), what) == kept
