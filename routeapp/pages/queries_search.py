"""Finding a cabinet, a location, a host or a prize by what people type or read aloud."""

from dataclasses import dataclass

from locations.hosts.queries import hosts
from locations.sites.queries import locations
from machines.cabinets.models import Machine
from routeapp.kit.tables import matching
from routeapp.stock.models import Prize

MOST = 20
LONGEST = 80


@dataclass(frozen=True)
class Found:
    """What matches, by noun; at most MOST of each."""

    cabinets: list[Machine]
    locations: list
    hosts: list
    prizes: list[Prize]

    @property
    def number(self) -> int:
        return len(self.cabinets) + len(self.locations) + len(self.hosts) + len(self.prizes)

    @property
    def cut(self) -> bool:
        """Whether more may match than are shown."""
        return MOST in map(len, (self.cabinets, self.locations, self.hosts, self.prizes))


def cleaned(text: str) -> str:
    return " ".join(text.replace("\0", " ")[:LONGEST].split())


def search(text: str) -> Found:
    """Everything in which each word of `text` occurs."""
    return Found(
        cabinets=list(
            matching(Machine.objects.select_related("model"), text, ("code", "serial", "model__name"))[:MOST]
        ),
        locations=list(locations(text)[:MOST]) or list(locations(text, closed=True)[:MOST]),
        hosts=list(hosts(text)[:MOST]),
        prizes=list(matching(Prize.objects.all(), text, ("name", "supplier"))[:MOST]),
    )
