"""A location that has terms and visits, and whoever may see what its host gets."""

import pytest

from routeapp.models import Business
from tests.settlements.world import arcade, visit


@pytest.fixture
def world(owner):
    Business.objects.create(pk=1, name="Lantern Rounds", contact="555-0142", time_zone="America/Chicago")
    world = arcade(owner)
    world.location.host.contacts.create(name="Mika Ode", email="mika@arcade.example")
    visit(world, "one", 1, 12_345, pay=1_000)
    return world
