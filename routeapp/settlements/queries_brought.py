"""What each day brought at many locations at once, as far as their agreements ask."""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from operator import attrgetter

from django.db.models import Case, DateField, Exists, F, OuterRef, Q, QuerySet, Value, When

from locations.agreements.queries import deals_for
from locations.agreements.rules_periods import DAY, Period, Stretch
from locations.agreements.rules_terms import Bearer, Deal, Earned, TermKind
from locations.placements.queries import stays_between
from locations.sites.models import Location
from locations.taxes.queries import rules_for
from locations.taxes.rules import TaxBook, tax_lines
from routeapp.cash.models import BagCount, CashMove, Purse, Sealed
from routeapp.cash.queries import in_and_out
from routeapp.kit import clock
from routeapp.kit.prepared import Many
from routeapp.settlements.rules import Brought, Part, WithoutTerms, uncovered, without_terms, work_out
from routeapp.stock.queries import won_by_document
from routeapp.visits.models import ServiceEntry, Visit

DAY_OF = attrgetter("day")
MOST_CUTS = 12
LONG_BEFORE = timedelta(days=100)  # what begins earlier than the others by more is asked for apart


@dataclass(frozen=True)
class Books:
    """Locations with what was agreed there and what their days brought."""

    deals: Mapping[int, Sequence[Deal]]
    taxes: TaxBook
    days: Mapping[int, Sequence[Brought]] = field(default_factory=dict)  # in order of time

    def parts(self, location: int, stretch: Stretch) -> list[Part]:
        """What the agreements of a location give for a stretch that lies within the days asked for."""
        deals = self.deals.get(location, ())
        return work_out(deals, stretch, self._days(location, stretch), lambda days: self._tax(location, days))

    def without_terms(self, location: int, stretch: Stretch) -> list[WithoutTerms]:
        return without_terms(self.deals.get(location, ()), stretch, self._days(location, stretch))

    def all_agreed(self, location: int, stretches: Iterable[Stretch]) -> bool:
        """Whether some agreement of the location itself holds on each of the days."""
        own = [deal for deal in self.deals.get(location, ()) if deal.machine is None]
        held = [Stretch(deal.starts_on, deal.ends_on or date.max - DAY) for deal in own]
        return not any(uncovered(one.since, one.until, held) for one in stretches)

    def cents(self, location: int, stretch: Stretch) -> int:
        return sum(part.cents for part in self.parts(location, stretch))

    def _days(self, location: int, stretch: Stretch) -> Sequence[Brought]:
        days = self.days.get(location, ())
        first, last = bisect_left(days, stretch.since, key=DAY_OF), bisect_right(days, stretch.until, key=DAY_OF)
        return days[first:last]

    def _tax(self, location: int, days: Iterable[Brought]) -> int:
        if not self.taxes.places.get(location):
            return 0
        amounts = ((self.taxes.rule(location, one.machine, one.day), one.earned.take) for one in days)
        return sum(line.tax for line in tax_lines(amounts))


def agreed(locations: Iterable[int]) -> Books:
    """What was agreed at these locations; what their days brought is read with `with_days`."""
    ids = list(locations)
    deals = deals_for(ids)
    taxed = bearing("tax", deals, deals)
    return Books(deals, rules_for(taxed) if taxed else TaxBook())


def bearing(cost: str, locations: Iterable[int], deals: Mapping[int, Sequence[Deal]]) -> set[int]:
    """The locations whose host bears some of a cost."""
    by = f"{cost}_by"
    return {pk for pk in locations for one in deals.get(pk, ()) if getattr(one, by) != Bearer.OPERATOR}


def with_days(books: Books, wanted: Mapping[int, Sequence[Stretch]], locations: Mapping[int, Location]) -> Books:
    """The same with what the days of the wanted stretches brought, by location."""
    days: dict[int, list[Brought]] = defaultdict(list)
    for some in apart({pk: min(one.since for one in each) for pk, each in wanted.items()}):
        if some:
            _read(books, {pk: wanted[pk] for pk in some}, locations, days)
    for each in days.values():
        each.sort(key=DAY_OF)
    return Books(books.deals, books.taxes, days)


def apart(begin: Mapping[int, date]) -> tuple[list[int], list[int]]:
    """Locations by the time from which on they are read; those that begin long before the newest by themselves, so
    that one of them does not make all others be read from then on."""
    newest = max(begin.values(), default=date.max)
    found: tuple[list[int], list[int]] = [], []
    for pk, moment in begin.items():
        found[moment < newest - LONG_BEFORE].append(pk)
    return found


def _read(
    books: Books,
    wanted: Mapping[int, Sequence[Stretch]],
    locations: Mapping[int, Location],
    days: dict[int, list[Brought]],
) -> None:
    every = [one for each in wanted.values() for one in each]
    stretch = Stretch(min(one.since for one in every), max(one.until for one in every))
    by_cabinet = _by_cabinet(books, wanted)
    for location, one in _money(books, wanted, by_cabinet, stretch):
        days[location].append(one)
    visited = _counts_visits(wanted, books.deals)
    for location, machine, day in _visits(visited, by_cabinet, stretch, locations) if visited else ():
        days[location].append(Brought(day, machine, Earned(visits=1)))
    prized = bearing("prize_cost", wanted, books.deals)
    for location, machine, day, cents in _prizes(prized, stretch, locations) if prized else ():
        machine = machine if location in by_cabinet else None
        days[location].append(Brought(day, machine, Earned(prize_cost=cents)))


def _by_cabinet(books: Books, locations: Iterable[int]) -> set[int]:
    """Where it matters which cabinet something came from: terms or tax of its own."""
    taxed = books.taxes.places if books.taxes.cabinets else ()
    own = {pk for pk in locations for deal in books.deals.get(pk, ()) if deal.machine}
    return own | {pk for pk in locations if pk in taxed}


def _counts_visits(locations: Iterable[int], deals: Mapping[int, Sequence[Deal]]) -> set[int]:
    return {pk for pk in locations for deal in deals.get(pk, ()) if deal.of_kind(TermKind.VISIT)}


# Where the money of each figure of `Earned` comes from or goes to, and what moves add to it.
ENDS = {"take": Purse.PLAYERS, "card_fees": Purse.FEES, "refunds": Purse.REFUNDS}
FIGURES = {name: -in_and_out(end) if name == "take" else in_and_out(end) for name, end in ENDS.items()}


def counted_moves(figures: Iterable[str] = ENDS) -> QuerySet:
    """The moves that a settlement is worked out from: take, card fees and refunds, and what was taken back of them."""
    ends = [ENDS[name] for name in figures]
    return CashMove.objects.filter(Q(from_purse__in=ends) | Q(to_purse__in=ends)).order_by()


def _money(
    books: Books, wanted: Mapping[int, Sequence[Stretch]], by_cabinet: set[int], stretch: Stretch
) -> Iterable[tuple[int, Brought]]:
    """By location. Where nothing asks for single days, all of some at their first day."""
    cuts = _cuts(books, wanted, stretch)
    plain = wanted.keys() - by_cabinet
    untaxed = plain - books.taxes.places.keys() if cuts else set()
    together = {pk for pk in untaxed if books.all_agreed(pk, wanted[pk])}
    plain -= together
    asked = [(plain, False, F("day")), (by_cabinet, True, F("day"))]
    for ids, machines, day in [*asked, (together, False, _since(cuts))] if together else asked:
        figures = [name for name in ENDS if name == "take" or bearing(name, ids, books.deals)]
        moves = counted_moves(figures).filter(location__in=Many(ids), day__range=(stretch.since, stretch.until))
        keys = ("location", "on", "machine") if machines else ("location", "on")
        for sums in moves.annotate(on=day).values(*keys).annotate(**{name: FIGURES[name] for name in figures}):
            yield sums.pop("location"), Brought(sums.pop("on"), sums.pop("machine", None), Earned(**sums))


def _cuts(books: Books, wanted: Mapping[int, Sequence[Stretch]], all_of_them: Stretch) -> list[date]:
    """The days on which a stretch or terms begin somewhere; none where they are too many to be worth it."""
    found = {day for each in wanted.values() for one in each for day in (one.since, one.until + DAY)}
    for pk in wanted:
        for deal in books.deals.get(pk, ()):
            found |= {deal.starts_on} | ({deal.ends_on + DAY} if deal.ends_on else set())
    inside = sorted(day for day in found if all_of_them.within(day, day))
    return inside if len(inside) <= MOST_CUTS else []


def _since(cuts: Sequence[date]) -> Case:
    """For the database: the last of the days that is not after the day of a row, so that fewer rows come back."""
    first, *others = (Value(day, output_field=DateField()) for day in cuts)
    return Case(*(When(day__gte=day, then=day) for day in reversed(others)), default=first, output_field=DateField())


def visits_of(locations: Iterable[int], stretch: Stretch) -> QuerySet:
    """Visits that hold, with a day more at each end than in the stretch."""
    since, until = clock.anywhere(stretch.since, stretch.until)
    return Visit.objects.live().filter(location__in=Many(locations), void=False, at__gte=since, at__lt=until).order_by()


def visit_days(
    wanted: Mapping[int, Stretch], deals: Mapping[int, Sequence[Deal]], locations: Mapping[int, Location]
) -> dict[int, set[date]]:
    """The days with visits, of those locations that are settled at each visit."""
    found: dict[int, set[date]] = defaultdict(set)
    ids = [pk for pk in wanted if any(deal.settled.kind == Period.VISIT for deal in deals.get(pk, ()))]
    if ids:
        stretch = Stretch(min(wanted[pk].since for pk in ids), max(wanted[pk].until for pk in ids))
        for location, at in visits_of(ids, stretch).values_list("location", "at"):
            found[location].add(clock.local_day(at, locations[location].time_zone))
    return found


def with_something(
    wanted: Sequence[tuple[int, Stretch]], deals: Mapping[int, Sequence[Deal]], locations: Mapping[int, Location]
) -> list[tuple[int, Stretch]]:
    """Those (location id, days) in which money moved, a visit was made for which there is a sum, or terms give
    something anyway. What they come to is not worked out."""
    if not wanted:
        return []
    ids = {pk for pk, _ in wanted}
    stretch = Stretch(min(one.since for _, one in wanted), max(one.until for _, one in wanted))
    moves = counted_moves().filter(location__in=Many(ids), day__range=(stretch.since, stretch.until))
    days: dict[int, set[date]] = defaultdict(set)
    for location, day in moves.standing().values_list("location", "day").distinct():
        days[location].add(day)
    for location, _, day in _visits(_counts_visits(ids, deals), set(), stretch, locations):
        days[location].add(day)
    return [
        (pk, one)
        for pk, one in wanted
        if _gives_anyway(deals[pk], one) or any(one.since <= day <= one.until for day in days[pk])
    ]


def _gives_anyway(deals: Iterable[Deal], stretch: Stretch) -> bool:
    fixed = [deal for deal in deals if deal.of_kind(TermKind.RENT) or deal.of_kind(TermKind.MINIMUM)]
    return any(stretch.within(deal.starts_on, deal.ends_on) for deal in fixed)


def _visits(
    ids: set[int], by_cabinet: set[int], stretch: Stretch, locations: Mapping[int, Location]
) -> Iterable[tuple[int, int | None, date]]:
    for location, at in visits_of(ids, stretch).values_list("location", "at"):
        yield location, None, clock.local_day(at, locations[location].time_zone)
    if own := by_cabinet & ids:
        entries = ServiceEntry.objects.filter(visit__in=visits_of(own, stretch).values("pk")).order_by()
        for location, machine, at in entries.values_list("visit__location", "machine", "at"):
            yield location, machine, clock.local_day(at, locations[location].time_zone)


def _prizes(ids: set[int], stretch: Stretch, locations: Mapping[int, Location]) -> Iterable[tuple[int, int, date, int]]:
    """What prizes cost that were won at these locations: by the visit that counted them, else by where it stood."""
    since, until = clock.anywhere(stretch.since, stretch.until)
    stays = stays_between(since, until, ids)
    here = Q(visit__location__in=ids) | Q(machine__in=stays)
    entries = ServiceEntry.objects.filter(here, at__gte=since, at__lt=until, withdrawn_at=None).order_by()
    told = {pk: (machine, place) for pk, machine, place in entries.values_list("pk", "machine", "visit__location")}
    machines = stays.keys() | {machine for machine, _ in told.values()}
    for (source, machine, at), won in won_by_document(machines, since, until).items():
        stood = (stay.location for stay in stays.get(machine, ()) if stay.covers_end_of(at))
        location = told[source][1] if source in told else next(stood, None)
        if won.cost and location in ids:
            yield location, machine, clock.local_day(at, locations[location].time_zone), won.cost


@dataclass(frozen=True)
class Missing:
    """A sealed bag with money of these days that nobody has counted."""

    bag: int
    number: str
    day: date


def missing_bags(wanted: Sequence[tuple[int, Stretch]]) -> dict[int, list[Missing]]:
    """Bags sealed in some days that nobody has counted, by location: at least those of the stretches wanted."""
    found: dict[int, list[Missing]] = defaultdict(list)
    if not wanted:
        return found
    counted = BagCount.objects.live().filter(bag=OuterRef("bag"))
    days = min(stretch.since for _, stretch in wanted), max(stretch.until for _, stretch in wanted)
    rows = Sealed.objects.live().filter(~Exists(counted), location__in=Many({pk for pk, _ in wanted}), day__range=days)
    for pk, bag, number, day in rows.order_by("day", "bag").values_list("location", "bag", "bag__number", "day"):
        if Missing(bag, number, day) not in found[pk]:
            found[pk].append(Missing(bag, number, day))
    return found
