"""What happens in the story, by name and in local time; load.py turns each into the action a person would take."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID


@dataclass
class Event:
    at: datetime
    person: str

    @property
    def known(self) -> datetime:
        """When the office learns of it."""
        return self.at


@dataclass
class Placed(Event):
    id: UUID
    cabinet: str
    site: str
    opening: dict[str, int]  # what each meter shows, by what it counts
    fill: Counter[str]
    settings: dict[str, int]


@dataclass
class Left(Event):
    cabinet: str
    because: str
    status: str


@dataclass
class Report(Event):
    """A player wrote from the label; nobody is signed in."""

    id: UUID
    cabinet: str
    text: str
    stops_play: bool
    cents: int | None
    contact: str


@dataclass
class Delivery(Event):
    id: UUID
    supplier: str
    paper: str
    lines: list[tuple[str, int, int]]  # prize, pieces, cents for all of them


@dataclass
class VanLoad(Event):
    id: UUID
    pieces: Counter[str]


@dataclass
class Found:
    """A fault somebody found at the cabinet."""

    id: UUID
    text: str
    stops_play: bool


@dataclass
class Work:
    """What was done to one cabinet at a stop. `cash` is counted, sealed or not_taken."""

    id: UUID
    cabinet: str
    readings: dict[str, int]
    cash: str
    lines: Counter[str]  # what was in the box, by denomination
    cents: int
    how: str = "denominations"
    estimate: int = 0
    explained_as: str = ""
    tests_before: int = 0
    tests_after: int = 0
    found: Counter[str] = field(default_factory=Counter)
    estimated: bool = False
    mixes: Counter[str] = field(default_factory=Counter)
    loaded: Counter[str] = field(default_factory=Counter)
    settings: dict[str, int] = field(default_factory=dict)
    checks: dict[str, bool] = field(default_factory=dict)
    faults: list[Found] = field(default_factory=list)
    fixed: dict[UUID, str] = field(default_factory=dict)
    photo: UUID | None = None
    note: str = ""


@dataclass
class Stop(Event):
    id: UUID
    site: str
    minutes: int
    bag: UUID
    bag_number: str
    works: list[Work]
    paid: int = 0
    received_by: str = ""
    received_at: datetime | None = None
    replaces: UUID | None = None
    void: bool = False
    reason: str = ""
    note: str = ""

    @property
    def known(self) -> datetime:
        return self.received_at or self.at

    @property
    def sealed(self) -> bool:
        return any(work.cash == "sealed" for work in self.works)

    def money(self) -> int:
        """What lies in its bag in the end."""
        return sum(work.cents for work in self.works if work.cash != "not_taken") - self.paid


@dataclass
class BagCounted(Event):
    id: UUID
    bag: UUID
    lines: Counter[str]
    note: str = ""


@dataclass
class BagKept(Event):
    """Into the safe, or to the bank."""

    bag: UUID
    bank: bool


@dataclass
class Banked(Event):
    """All bags that went to the bank at the same moment."""

    bags: list[UUID]


@dataclass
class MeterSwap(Event):
    cabinet: str
    counts: str
    opening: int


@dataclass
class Terms(Event):
    """An agreement: the share of the take from a day on."""

    site: str
    starts_on: date
    share: int
    settled: str
    paid: str
    note: str = ""


def worth(pieces: Mapping[str, int]) -> int:
    """What pieces by denomination key come to, in cents."""
    return sum(int(key[1:]) * many for key, many in pieces.items())
