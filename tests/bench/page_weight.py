"""Bytes on the wire, compressed: a first visit with its styles and scripts, and later pages alone."""

import re
from collections.abc import Iterator
from typing import Any

from django.contrib.auth import get_user_model

from routeapp.data.demo.load import load
from routeapp.kit import clock
from tests.bench.pages import addresses
from tests.bench.server import Client, served, wire_bytes

FIRST_LIMIT, LATER_LIMIT = 90_000, 20_000


def run() -> Iterator[dict[str, Any]]:
    load(now=clock.now(), say=str)
    owner = get_user_model().objects.filter(groups__name="owner").first()
    with served() as port:
        client = Client(port, owner)
        location = addresses()["location"].split("/")[2]
        for name, address in (addresses() | {"visit": f"/visits/new/{location}/"}).items():
            answer, body = client.get(address)
            later = wire_bytes(answer, body)
            first = later + sum(wire_bytes(*client.get(asset)) for asset in assets(client, address))
            yield {"case": name, "first": first, "first_limit": FIRST_LIMIT, "later": later, "later_limit": LATER_LIMIT}


def assets(client: Client, address: str) -> set[str]:
    """Styles, scripts and icons that a page names, and the modules that its scripts name in turn."""
    client.headers.pop("Accept-Encoding")
    page = client.get(address)[1].decode()
    found = set(re.findall(r'(?:src|href)="(/static/[^"]+)"', page))
    for script in [one for one in found if one.endswith(".js")]:
        named = re.findall(r'from "\./([^"]+)"', client.get(script)[1].decode())
        found |= {f"{script.rpartition('/')[0]}/{module}" for module in named}
    client.headers["Accept-Encoding"] = "gzip"
    return found
