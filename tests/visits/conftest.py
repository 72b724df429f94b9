"""Sending the visit page, and a cabinet to bring to a location with a store beside."""

from uuid import uuid4

import pytest

from machines.cabinets.actions_meters import take_reading
from routeapp.models import Place
from routeapp.stock import actions as stock
from routeapp.stock.models import PlaceKind
from tests.factories import CabinetModelFactory, LocationFactory, MachineFactory, MeterFactory, PrizeFactory
from tests.visits.stays import MAY


@pytest.fixture
def stop(world, hand_client):
    """Send the visit page of the world's location with these fields for the first cabinet."""
    machine = world.meters[0].machine_id

    def send(fields=None, *, url=None, id=None, **more):
        data = {"id": id or str(uuid4()), "arrived_at": "2026-03-20T10:00", "cabinet": [machine]}
        data |= {f"c{machine}-{name}": value for name, value in (fields or {}).items()}
        return hand_client.post(url or f"/visits/new/{world.location.pk}/", data | more, follow=True)

    return send


@pytest.fixture
def mill(db):
    return LocationFactory(name="Mill Lane", power_notes="Two outlets on the left wall", access_notes="Door 82 cm")


@pytest.fixture
def claw(db):
    model = CabinetModelFactory(name="Harbour Claw", width_mm=840, depth_mm=900, height_mm=1980, watts=260)
    return MachineFactory(code="C-007", model=model)


@pytest.fixture
def plays(claw, owner):
    meter = MeterFactory(machine=claw, digits=5)
    take_reading(meter=meter, value=12345, by=owner, at=MAY, received_at=MAY)
    return meter


@pytest.fixture
def store(db):
    return Place.objects.create(kind="store", name="Store")


@pytest.fixture
def fox(owner, store):
    prize = PrizeFactory(name="Plush fox")
    source = stock.beyond(PlaceKind.SUPPLIER)
    moment = {"at": MAY, "received_at": MAY}
    stock.move(prize=prize, quantity=100, from_place=source, to_place=store, cost_cents=20000, by=owner, **moment)
    return prize
