"""The statement: what was earned and what it cost, as amounts that each belong to one line, cabinet, location and day.

Whatever it is added up by, the same amounts are added, so cabinets, locations, hosts, models and months all come to the
same total. Costs are below zero. Amounts in whole minor units.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from routeapp.earnings.rules import Span
from routeapp.kit.choices import TextChoices
from routeapp.kit.clock import month_start
from routeapp.kit.money import split


class Part(TextChoices):
    """The lines of the statement, in its order."""

    CASH = "cash", "Cash taken"
    CARDS = "cards", "Paid by card"
    OVER_SHORT = "over-short", "Lost or found in counting"
    TAX = "tax", "Tax inside the price"
    SHARE = "share", "Hosts' share"
    PRIZES = "prizes", "Prizes won"
    LOST = "lost", "Prizes lost or found"
    FEES = "fees", "Card fees"
    REFUNDS = "refunds", "Refunds to players"
    PARTS = "parts", "Parts used"
    EXPENSES = "expenses", "Goods and services"
    TRIPS = "trips", "Trips"
    SOLD = "sold", "Cabinets sold"
    DEPRECIATION = "depreciation", "Depreciation"


TAKE = (Part.CASH, Part.CARDS)


@dataclass(frozen=True)
class Amount:
    """`cents` of one line, on one day. What belongs to no cabinet or no location has None there.

    `what` says where it comes from, in words; `to` is what it opens: (name of the page, what its address wants).
    """

    part: str
    machine: int | None
    location: int | None
    day: date
    cents: int
    what: str = ""
    to: tuple[str, str] = ("", "")


@dataclass(frozen=True)
class Stood:
    """A cabinet stood at a location from a day to another, both included; None: it still does."""

    location: int
    since: date
    until: date | None

    def days_in(self, span: Span) -> int:
        first, last = max(self.since, span.since), min(self.until or span.until, span.until)
        return max(0, (last - first).days + 1)


Stays = Mapping[int, Sequence[Stood]]  # by cabinet, oldest first


def months_of(span: Span) -> list[Span]:
    """The span cut where months begin: shares and tax are worked out for each, so that months add up."""
    found, since = [], span.since
    while since <= span.until:
        following = month_start(month_start(since) + timedelta(days=31))
        found.append(Span(since, min(span.until, following - timedelta(days=1))))
        since = following
    return found


def placed(amounts: Iterable[Amount], stood: Stays) -> Iterator[Amount]:
    """Gives each amount its cabinets and its location, where one of both tells the other.

    What belongs to a whole location goes to the cabinets that stood there on that day, in equal parts; what belongs to
    a cabinet, to where it stood.
    """
    there: dict[tuple[int, date], list[int]] = {}
    for one in amounts:
        if one.location is None and one.machine is not None:
            yield replace(one, location=_where(stood.get(one.machine, ()), one.day))
        elif one.machine is None and one.location is not None:
            key = (one.location, one.day)
            if key not in there:
                there[key] = [machine for machine in sorted(stood) if _where(stood[machine], one.day) == one.location]
            yield from handed_out(one, dict.fromkeys(there[key], 1))
        else:
            yield one


def _where(stays: Sequence[Stood], day: date) -> int | None:
    """On a day on which a cabinet moved, it is where it went."""
    return next((s.location for s in reversed(stays) if s.since <= day and (s.until is None or day <= s.until)), None)


def handed_out(one: Amount, weights: Mapping[int, int]) -> Iterator[Amount]:
    """One amount over cabinets by their weights, every cent of it; as it is where there is no cabinet."""
    if not weights:
        yield one
        return
    for machine, cents in zip(weights, split(one.cents, list(weights.values())), strict=True):
        if cents:
            yield replace(one, machine=machine, cents=cents)


def over_stays(one: Amount, span: Span, stays: Sequence[Stood]) -> Iterator[Amount]:
    """A cabinet's amount for days, over the locations where it stood in them, by the days; none for those between."""
    days: dict[int | None, int] = defaultdict(int)
    for stay in stays:
        days[stay.location] += stay.days_in(span)
    days[None] = max(0, span.days - sum(days.values()))
    for location, cents in zip(days, split(one.cents, list(days.values())), strict=True):
        if cents:
            yield replace(one, location=location, cents=cents)


@dataclass(frozen=True)
class Statement:
    """Amounts added up, line by line."""

    parts: Mapping[str, int] = field(default_factory=dict)

    def of(self, *parts: str) -> int:
        return sum(self.parts.get(part, 0) for part in parts)

    @property
    def take(self) -> int:
        return self.of(*TAKE)

    @property
    def profit(self) -> int:
        """What is left after every line."""
        return sum(self.parts.values())

    @property
    def earned(self) -> int:
        """What is left before depreciation: money, and what pays a cabinet back."""
        return self.profit - self.of(Part.DEPRECIATION)

    @property
    def margin(self) -> float | None:
        return self.profit / self.take if self.take > 0 else None

    def lines(self) -> list[tuple[Part, int]]:
        """The lines that have an amount, in the order of the statement."""
        return [(part, self.parts[part]) for part in Part if self.parts.get(part)]


def added_up(amounts: Iterable[Amount]) -> Statement:
    parts: dict[str, int] = defaultdict(int)
    for one in amounts:
        parts[one.part] += one.cents
    return Statement(parts)


def by(amounts: Iterable[Amount], key: Callable[[Amount], Hashable]) -> dict[Hashable, Statement]:
    """A statement for each value of `key`."""
    groups: dict[Hashable, list[Amount]] = defaultdict(list)
    for one in amounts:
        groups[key(one)].append(one)
    return {value: added_up(each) for value, each in groups.items()}
