"""Moments typed where the clock is changed. Days and hours: tz database, rules US and EU for 2026."""

from datetime import UTC, datetime

import pytest
from django.core.exceptions import ValidationError

from routeapp.kit.forms import MomentField


@pytest.mark.parametrize(
    ("zone", "typed", "moment"),
    [
        ("America/Chicago", "2026-11-01T01:30", datetime(2026, 11, 1, 6, 30, tzinfo=UTC)),  # still summer time
        ("America/Chicago", "2026-11-01T02:00", datetime(2026, 11, 1, 8, tzinfo=UTC)),
        ("Europe/Berlin", "2026-10-25T02:30", datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        ("Europe/Berlin", "2026-10-26T00:00", datetime(2026, 10, 25, 23, tzinfo=UTC)),
    ],
)
def test_hour_that_comes_twice_is_taken_as_the_first(zone, typed, moment):
    assert MomentField(zone=zone).clean(typed) == moment


@pytest.mark.parametrize(
    ("zone", "typed"), [("America/Chicago", "2026-03-08T02:30"), ("Europe/Berlin", "2026-03-29T02:30")]
)
def test_hour_that_never_was_is_refused_in_plain_words(zone, typed):
    with pytest.raises(ValidationError, match="The clock was put forward then"):
        MomentField(zone=zone).clean(typed)
