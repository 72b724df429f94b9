"""Finding a cabinet, a location, a host or a prize by what people type or read aloud."""

from dataclasses import dataclass

from django.db.models import Q, QuerySet

from locations.hosts.queries import hosts
from locations.sites.queries import locations
from machines.cabinets.models import Machine
from machines.cabinets.rules_entry import clean_code
from machines.labels.queries import machine_for_code
from routeapp.stock.models import Prize

MOST = 20
LONGEST = 80
MOST_WORDS = 8


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


def exact_cabinet(text: str) -> Machine | None:
    """The cabinet whose own code, or whose label's code, this is."""
    try:
        found = Machine.objects.filter(code=clean_code(text)).first()
    except ValueError:
        found = None
    return found or machine_for_code(text)


def search(text: str) -> Found:
    """Everything in which each word of `text` occurs."""
    return Found(
        cabinets=list(_with_all(Machine.objects.select_related("model"), text, ["code", "serial", "model__name"])),
        locations=list(locations(text)[:MOST]) or list(locations(text, closed=True)[:MOST]),
        hosts=list(hosts(text)[:MOST]),
        prizes=list(_with_all(Prize.objects.all(), text, ["name", "supplier"])),
    )


def _with_all(rows: QuerySet, text: str, columns: list[str]) -> QuerySet:
    for word in text.split()[:MOST_WORDS]:
        anywhere = Q()
        for column in columns:
            anywhere |= Q(**{f"{column}__icontains": word})
        rows = rows.filter(anywhere)
    return rows[:MOST]
