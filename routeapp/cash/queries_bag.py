"""One bag as its page tells it, and how far counts differed from what was noted when bags were filled."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Exists, IntegerField, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.cash import rules
from routeapp.cash.models import Bag, BagCount, CashMove, Purse, Sealed, where
from routeapp.cash.queries import bags, in_and_out, noted_cents, spent_since
from routeapp.kit import clock, money


def grouped(sums: Iterable[dict], held: Iterable[Bag]) -> list[tuple[dict, list[Bag]]]:
    """Each line of queries.held_by(), with where that is, and those of the bags `held` that lie there."""
    lines = [{**one, "where": where(one["holder"], one["with_person"])} for one in sums]
    return [(one, [bag for bag in held if bag.where == one["where"]]) for one in lines]


def newest(number: str) -> QuerySet:
    """All bags, or those with `number` in theirs, the last filled first; not those whose every visit was withdrawn."""
    wanted = number.replace("\0", "").strip().removeprefix("Bag ")
    moved = CashMove.objects.standing().filter(bag=OuterRef("pk"))
    facts = [each.objects.live().filter(bag=OuterRef("pk")) for each in (Sealed, BagCount)]
    empty = ~(Exists(moved) | Exists(facts[0]) | Exists(facts[1]))
    # Only what something was taken back from is looked into; above zero, because SQLite finds that by the index.
    reversals = CashMove.objects.filter(reverses__gt=0, bag__isnull=False).values("bag")
    withdrawn = Sealed.objects.filter(withdrawn_at__isnull=False).values("bag")
    changed = Q(pk__in=reversals) | Q(pk__in=withdrawn)
    return bags().exclude(changed & empty).filter(number__icontains=wanted).order_by("-at", "-pk")


@dataclass(frozen=True)
class Content:
    """Cash of one cabinet in a bag, in minor units: `cents` is None while nobody counted it."""

    machine: Machine
    location: Location
    day: date
    cents: int | None
    estimate: int | None = None


def contents(bag: Bag) -> list[Content]:
    """Whose cash is in a bag: what was counted at the site, then what was sealed and its share of the count."""
    sealed = {one.source: one for one in bag.contents.live().select_related("machine", "location")}
    boxes = CashMove.objects.filter(Q(from_purse=Purse.BOX) | Q(to_purse=Purse.BOX), bag=bag).order_by()
    rows = boxes.values_list("entry", "machine", "location", "day").annotate(cents=in_and_out(Purse.BAG))
    machines = Machine.objects.in_bulk({row[1] for row in rows})
    places = Location.objects.in_bulk({row[2] for row in rows})
    shares = {row[0]: row[4] for row in rows}
    loose = [
        Content(machines[machine], places[place], day, cents)
        for entry, machine, place, day, cents in rows
        if cents and entry not in sealed
    ]
    return loose + [
        Content(one.machine, one.location, one.day, shares.get(entry, 0) if bag.counted else None, one.estimate_cents)
        for entry, one in sealed.items()
    ]


def moves(bag: Bag) -> QuerySet:
    """Every amount that went into or out of a bag, as it was written down, newest first."""
    return bag.cash_moves.select_related("machine", "location", "by").order_by("-received_at", "-pk")


def banked_cents(bag: Bag) -> int:
    return bag.cash_moves.aggregate(all=in_and_out(Purse.BANK))["all"]


def difference(bag: Bag, inside: Iterable[Content]) -> Callable[[int], int | None]:
    """How far a count of a bag is off, by its sum; see rules.difference."""
    estimates = [one.estimate for one in inside if one.estimate is not None]
    noted = noted_cents(bag)
    return lambda cents: rules.difference(cents, noted, estimates)


def counts(bag: Bag, inside: Iterable[Content]) -> list[BagCount]:
    """All counts of a bag, newest first, each with its `difference`; withdrawn ones too. The first live one `holds`."""
    off, spent = difference(bag, inside), spent_since(bag)
    listed = list(bag.counts.select_related("by", "second", "withdrawn_by").order_by("-at", "-uuid"))
    live = [one for one in listed if one.withdrawn_at is None]
    for one in listed:
        one.difference = off(one.cents - spent(one.at))
        one.holds = one in live[:1]
        one.pieces = rules.pieces(one.lines, money.active())
    return listed


@dataclass
class Filler:
    """One person who filled bags, and the bags of theirs that were counted. Sums in minor units."""

    person: Any
    bags: list[Bag] = field(default_factory=list)

    @property
    def differing(self) -> list[Bag]:
        return [bag for bag in self.bags if bag.off]

    @property
    def short(self) -> int:
        return -sum(min(0, bag.off) for bag in self.bags)

    @property
    def over(self) -> int:
        return sum(max(0, bag.off) for bag in self.bags)

    @property
    def net(self) -> int:
        return self.over - self.short


def over_short(since: date, until: date, zone: str) -> list[Filler]:
    """Who filled the bags that were counted from `since` to `until`, those who are furthest off first.

    A sealed bag has no figure of its own to compare with; what its cabinets' meters say stands with the earnings.
    """
    fillers: dict[int, Filler] = {}
    ends = clock.start_of_day(since, zone), clock.start_of_day(until + timedelta(days=1), zone)
    for bag in _counted_bags(*ends):
        fillers.setdefault(bag.by_id, Filler(bag.by)).bags.append(bag)
    return sorted(fillers.values(), key=lambda one: (one.net, -one.short))


def _counted_bags(start: datetime, end: datetime) -> QuerySet:
    """Bags counted from `start` until before `end`, with `counted_at` and `off` (above zero: over)."""
    recent = BagCount.objects.live().filter(at__gte=start, at__lt=end)
    last = BagCount.objects.live().filter(bag=OuterRef("pk")).order_by("-at", "-uuid")
    between = Q(from_purse=Purse.OVER_SHORT) | Q(to_purse=Purse.OVER_SHORT)
    off = (
        CashMove.objects.filter(between, bag=OuterRef("pk")).order_by().values("bag").annotate(o=in_and_out(Purse.BAG))
    )
    return (
        Bag.objects.filter(pk__in=recent.values("bag"))
        .select_related("location", "by")
        .annotate(
            counted_at=Subquery(last.values("at")[:1]),
            off=Coalesce(Subquery(off.values("o"), output_field=IntegerField()), 0),
        )
        .filter(counted_at__gte=start, counted_at__lt=end)
        .exclude(contents__withdrawn_at=None, contents__isnull=False, off=0)
        .order_by("off", "-counted_at")
    )
