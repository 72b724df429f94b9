"""The pages people open most, with the demo, against a bare signed-in view of a page of the same size.

Each page is measured twice: as it is when nobody wrote anything since it was last opened, and right after
somebody did, when everything on it is worked out anew.
"""

import time
from collections.abc import Callable, Iterator
from statistics import median
from typing import Any

from django.contrib.admin.models import LogEntry
from django.contrib.auth import get_user_model

from machines.models import Machine
from routeapp.data.demo.load import load
from routeapp.kit import audit, clock
from tests.bench.server import Client, served

ROUNDS = 15


def addresses() -> dict[str, str]:
    """The pages by name; the cabinet and location are those with the longest history."""
    machine = Machine.objects.filter(placements__ended_at=None, status="placed").order_by("code").first()
    assert machine is not None
    location = machine.placements.get(ended_at=None).location_id
    return {
        "today": "/",
        "cabinet": f"/cabinets/{machine.code}/",
        "location": f"/locations/{location}/",
        "earnings": "/earnings/",
    }


def run() -> Iterator[dict[str, Any]]:
    load(now=clock.now(), say=str)
    owner = get_user_model().objects.filter(groups__name="owner").first()
    with served() as port:
        client = Client(port, owner)
        for name, address in addresses().items():
            size = len(plain(port, owner, address))
            for case, before in (("unchanged since", None), ("just after a write", lambda: write(owner))):
                ours, bare = paired(client, address, f"/bench/page/{size}/", before)
                ratio = {"ratio": round(ours / bare, 2), "unit": "ms"}
                yield {"case": f"{name}, {case}", "ours": round(ours, 1), "baseline": round(bare, 1), **ratio}


def plain(port: int, owner: Any, address: str) -> bytes:
    """A page as it is without compression."""
    client = Client(port, owner)
    client.headers.pop("Accept-Encoding")
    answer, body = client.get(address)
    if answer.status != 200:
        raise RuntimeError(f"{address} answers {answer.status}")
    return body


def write(owner: Any) -> None:
    """Somebody did something: one more line in the log."""
    audit.record("looked", LogEntry.objects.order_by("pk").first(), by=owner, at=clock.now())


def paired(client: Client, ours: str, bare: str, before: Callable[[], None] | None = None) -> tuple[float, float]:
    """Milliseconds of two addresses asked in turn, the median of several after a first round that warms both up."""
    times: dict[str, list[float]] = {ours: [], bare: []}
    for _ in range(ROUNDS + 1):
        for address, found in times.items():
            if before:
                before()
            start = time.perf_counter()
            client.get(address)
            found.append((time.perf_counter() - start) * 1000)
    return median(times[ours][1:]), median(times[bare][1:])
