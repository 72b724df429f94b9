"""Is the money right? Short stories of one cabinet's cash box."""

import pytest

from routeapp.visits import rules
from routeapp.visits.rules import Stop


def stop(key, expected, taken, *, read=True, emptied=True):
    return Stop(key=key, read=read, expected=expected, emptied=emptied, taken=taken)


@pytest.mark.parametrize(
    ("stops", "variances"),
    [
        ([stop("a", 5000, 5000)], {"a": 0}),
        ([stop("a", 5000, 4700)], {"a": -300}),
        # Money left in the box is expected at the next stop.
        ([stop("a", 3000, 0, emptied=False), stop("b", 2000, 5000)], {"b": 0}),
        # Cash taken without a reading waits for one.
        ([stop("a", None, 3000, read=False), stop("b", 5000, 2000)], {"b": 0}),
        # A bag not counted yet, and a reading in question: not known, and the next stop starts afresh.
        ([stop("a", 5000, None), stop("b", 1000, 1000)], {"a": None, "b": 0}),
        ([stop("a", None, 5000), stop("b", 1000, 900)], {"a": None, "b": -100}),
        ([], {}),
    ],
)
def test_variances(stops, variances):
    assert rules.reckon(stops).variances == variances


def test_carry_says_what_a_count_now_would_mean():
    carried = rules.reckon([stop("a", 3000, 0, emptied=False)])

    assert carried.with_stop(2000, 4900) == -100
    assert carried.with_stop(None, 4900) is None


def test_payout_is_plays_per_prize():
    assert rules.payout(120, 10) == 12
    assert rules.payout(120, 0) is None
