"""The pages people open most, with the demo, against a bare signed-in view of a page of the same size.

Each page is measured three times: as it is when nobody wrote anything since it was last opened, right after somebody
noted something to bring, and right after a visit to the cabinet and location of these pages.
"""

import time
from collections.abc import Callable, Iterator
from statistics import median
from typing import Any
from uuid import uuid4

from django.contrib.auth import get_user_model

from locations.models import Placement
from routeapp.data.demo.load import load
from routeapp.kit import clock
from routeapp.planning.actions_due import note_to_do
from routeapp.visits import rules_document
from routeapp.visits.actions import record_visit
from tests.bench.server import Client, served

ROUNDS = 15


def stands() -> Placement:
    """The cabinet with the longest history, where it stands."""
    found = Placement.objects.filter(ended_at=None, machine__status="placed").select_related("machine", "location")
    return found.order_by("machine__code")[0]


def addresses() -> dict[str, str]:
    """The pages by name."""
    one = stands()
    return {
        "today": "/",
        "cabinet": f"/cabinets/{one.machine.code}/",
        "location": f"/locations/{one.location.pk}/",
        "earnings": "/earnings/",
    }


def run() -> Iterator[dict[str, Any]]:
    load(now=clock.now(), say=str)
    owner = get_user_model().objects.filter(groups__name="owner").first()
    with served() as port:
        client = Client(port, owner)
        for name, address in addresses().items():
            size = len(plain(port, owner, address))
            cases = (
                ("unchanged since", None),
                ("after a note", lambda: note(owner)),
                ("after a visit", lambda: visit(owner)),
            )
            for case, before in cases:
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


def note(owner: Any) -> None:
    """Somebody noted something to bring."""
    said = {"errand": "bring", "text": "A new sign", "by": owner, "at": clock.now()}
    note_to_do(uuid=uuid4(), location=stands().location, **said)


def visit(owner: Any) -> None:
    """Somebody emptied the box."""
    one, now = stands(), clock.now()
    cash = {"taken": "counted", "how": "amount", "cents": 1_000}
    document = {
        "id": str(uuid4()),
        "location": one.location_id,
        "arrived_at": now.isoformat(),
        "departed_at": now.isoformat(),
        "loose_bag": {"id": str(uuid4()), "number": f"L {now:%H%M%S%f}"},
        "entries": [{"id": str(uuid4()), "machine": one.machine_id, "cash": cash}],
    }
    record_visit(document=rules_document.read(document), photos={}, by=owner, at=now)


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
