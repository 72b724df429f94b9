"""Sending the visit page."""

from uuid import uuid4

import pytest


@pytest.fixture
def stop(world, hand_client):
    """Send the visit page of the world's location with these fields for the first cabinet."""
    machine = world.meters[0].machine_id

    def send(fields=None, *, url=None, id=None, **more):
        data = {"id": id or str(uuid4()), "arrived_at": "2026-03-20T10:00", "cabinet": [machine]}
        data |= {f"c{machine}-{name}": value for name, value in (fields or {}).items()}
        return hand_client.post(url or f"/visits/new/{world.location.pk}/", data | more, follow=True)

    return send
