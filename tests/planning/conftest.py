"""The route that tests of rounds are about."""

import pytest

from routeapp.kit import clock
from tests.planning.cast import MONDAY, make_route


@pytest.fixture
def route(owner, route_hand):
    return make_route(owner, route_hand)


@pytest.fixture
def monday(monkeypatch):
    """It is Monday, seven in the morning in Chicago."""
    monkeypatch.setattr(clock, "now", lambda: MONDAY)
    return MONDAY
