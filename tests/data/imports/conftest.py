from datetime import UTC, datetime

import pytest

from tests import factories
from tests.data.imports.desk import Desk


@pytest.fixture
def desk(owner_client):
    return Desk(owner_client)


@pytest.fixture
def world(owner):
    """A cabinet that stands at the diner since long ago."""
    machine = factories.MachineFactory(code="C-101")
    location = factories.LocationFactory(name="Tidewater Diner")
    factories.PlacementFactory(machine=machine, location=location, started_at=datetime(2024, 1, 1, tzinfo=UTC))
    return machine
