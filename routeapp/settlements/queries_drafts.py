"""Settlements before they are issued: which are due, line by line, with what came late to those issued before.

A draft is never stored: it is worked out from the facts each time, so doing it again changes nothing.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property

from locations.agreements.queries import words
from locations.agreements.rules_periods import DAY, Stretch
from locations.agreements.rules_terms import Deal, TermKind
from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.cash.models import CashMove, Purse
from routeapp.kit import clock
from routeapp.kit.money import as_text
from routeapp.kit.prepared import Prepared
from routeapp.settlements import queries, queries_late, rules
from routeapp.settlements.models import Settlement
from routeapp.settlements.queries_brought import (
    Books,
    Missing,
    agreed,
    missing_bags,
    visit_days,
    with_days,
    with_something,
)
from routeapp.settlements.queries_late import Adjustment
from routeapp.settlements.rules import Part, WithoutTerms

_locations = Prepared(lambda ids: Location.objects.filter(pk__in=ids), list)
EVER = Stretch(date(2000, 1, 1), date(2999, 12, 31))


@dataclass(frozen=True)
class Row:
    """One line of a draft as a page shows it."""

    words: str
    cabinet: str
    days: str  # where they are not those of the whole draft
    base: int | None
    cents: int


@dataclass(frozen=True)
class Draft:
    """What a settlement would say if it were issued now."""

    location: Location
    stretch: Stretch
    is_over: bool
    parts: Sequence[Part]
    adjustments: Sequence[Adjustment] = ()
    without_terms: Sequence[WithoutTerms] = ()
    missing: Sequence[Missing] = ()
    carried: int = 0
    payments: Sequence[CashMove] = ()
    replaces: Settlement | None = None
    codes: Mapping[int, str] = field(default_factory=dict)  # of cabinets with terms of their own
    before: Sequence["Draft"] = ()  # of earlier days, not issued either, whose payments stand here

    @cached_property
    def cents(self) -> int:
        return self.earned + sum(one.cents for one in self.adjustments)

    @property
    def earned(self) -> int:
        return sum(part.cents for part in self.parts)

    @property
    def paid(self) -> int:
        return sum(signed(move) for move in self.payments)

    @property
    def closing(self) -> int:
        return self.carried + self.cents - self.paid

    @property
    def earlier(self) -> int:
        """What the host gets for earlier days that are not issued yet."""
        return sum(one.earned for one in self.before)

    @property
    def open_then(self) -> int:
        """To be paid, or below zero paid ahead, once all up to these days is issued."""
        return self.closing + self.earlier

    @property
    def still_open(self) -> int:
        return abs(self.open_then)

    @property
    def take(self) -> int:
        return sum(part.earned.take for part in self.parts)

    @property
    def says_something(self) -> bool:
        return bool(self.cents or self.take or self.adjustments or self.missing or self.replaces)

    @property
    def spoken(self) -> str:
        return rules.spoken(self.stretch)

    @property
    def rows(self) -> list[Row]:
        return [
            Row(
                words=line.words,
                cabinet=self.codes.get(part.deal.machine or 0, ""),
                days="" if part.stretch == self.stretch else rules.spoken(part.stretch),
                base=line.base_cents if line.kind == TermKind.SHARE else None,
                cents=line.cents,
            )
            for part in self.parts
            for line in part.lines
        ]

    @property
    def terms(self) -> list[str]:
        said = {(part.deal.machine, words(part.deal)): None for part in self.parts}
        return [f"{self.codes[machine]}: {text}" if machine else text for machine, text in said]

    @property
    def remarks(self) -> list[str]:
        """What the paper has to say besides its lines."""
        said = [
            f"{as_text(one.cents)} came in {one.on_days} from cabinets without terms. It is not part of this."
            for one in self.without_terms
        ]
        return said + [
            f"Bag {one.number} of {one.day:%-d %B} was not counted yet. What is in it follows with the next settlement."
            for one in self.missing
        ]


def signed(move: CashMove) -> int:
    """What a move brought the host."""
    return move.cents if move.to_purse == Purse.HOST else -move.cents


def due(now: datetime, only: Iterable[int] | None = None) -> list[Draft]:
    """Every settlement that can be issued and says something, by location and in order of time."""
    return [one for one in drafts(now, only, running=False) if one.says_something]


def drafts(now: datetime, only: Iterable[int] | None = None, *, running: bool = True) -> list[Draft]:
    """All periods that are not settled yet, of all locations or only some, with the one that is `running`."""
    ids = list(Location.objects.order_by().values_list("pk", flat=True) if only is None else only)
    found = {row.pk: row for row in _locations(ids)}
    books = agreed(found)
    covered, replaced = queries.settled(found)
    wanted = [one for one in _periods(found, books, covered, now) if one[2] or running]
    wanted += list(_tails(found, books, covered, {pk for pk, *_ in wanted}, now))
    return _drafts(books, found, wanted, covered, replaced)


def periods_over(now: datetime, locations: Iterable[int]) -> dict[int, date]:
    """The last day with something to settle that can be settled and is not, by location id; how much it comes to is not
    worked out."""
    found = Location.objects.in_bulk(list(locations))
    books, (covered, _) = agreed(found), queries.settled(found)
    over = [(pk, stretch) for pk, stretch, is_over in _periods(found, books, covered, now) if is_over]
    return {pk: stretch.until for pk, stretch in with_something(over, books.deals, found)}


def _periods(
    found: Mapping[int, Location], books: Books, covered: Mapping[int, Sequence[Settlement]], now: datetime
) -> list[tuple[int, Stretch, bool]]:
    """(location id, days, whether they are over) of what is not settled yet, by location and in order of time."""
    today = _todays(found, now)
    gaps = {pk: _gaps(books.deals.get(pk, ()), covered.get(pk, ()), today[pk]) for pk in found}
    outside = {pk: Stretch(each[0].since, each[-1].until) for pk, each in gaps.items() if each}
    visits = visit_days(outside, books.deals, found)
    return [
        (pk, stretch, rules.is_over(books.deals[pk], stretch, visits.get(pk, ()), today[pk]))
        for pk, each in gaps.items()
        for gap in each
        for stretch in rules.periods_in(books.deals[pk], gap, visits.get(pk, ()))
    ]


def _tails(
    locations: Mapping[int, Location],
    books: Books,
    covered: Mapping[int, Sequence[Settlement]],
    besides: set[int],
    now: datetime,
) -> Iterator[tuple[int, Stretch, bool]]:
    """The days since the last paper where no period follows: what came late has to stand on one more."""
    today = _todays(locations, now)
    for pk, papers in covered.items():
        last, yesterday = papers[-1].until, today[pk] - DAY
        follows = any(deal.ends_on is None or deal.ends_on > last for deal in books.deals.get(pk, ()))
        if pk not in besides and last < yesterday and not follows:
            yield pk, Stretch(last + DAY, yesterday), True


def draft(location: Location, since: date, now: datetime) -> Draft | None:
    """The draft of a location that starts on a day as the next paper: with all that came late, and on top of what was
    issued so far, whatever other drafts there are."""
    every = drafts(now, [location.pk])
    up_to = [one for one in every if one.stretch.since <= since]
    if not up_to or up_to[-1].stretch.since != since:
        return None
    late = next((one.adjustments for one in every if one.adjustments), ())
    payments = list(dict.fromkeys(move for one in up_to for move in one.payments))
    before = [one for one in up_to[:-1] if one.says_something]
    return replace(up_to[-1], adjustments=late, carried=every[0].carried, payments=payments, before=before)


def _todays(locations: Mapping[int, Location], now: datetime) -> dict[int, date]:
    days = {zone: clock.local_day(now, zone) for zone in {one.time_zone for one in locations.values()}}
    return {pk: days[one.time_zone] for pk, one in locations.items()}


def _gaps(deals: Sequence[Deal], covered: Sequence[Settlement], today: date) -> list[Stretch]:
    """The days not settled yet, from the first agreement to today."""
    if not deals:
        return []
    since = min(deal.starts_on for deal in deals)
    return rules.uncovered(since, today, [Stretch(one.since, one.until) for one in covered])


Wanted = Sequence[tuple[int, Stretch, bool]]


def _drafts(
    books: Books,
    locations: Mapping[int, Location],
    wanted: Wanted,
    covered: Mapping[int, Sequence[Settlement]],
    replaced: Mapping[int, Sequence[Settlement]],
) -> list[Draft]:
    places = {pk for pk, *_ in wanted}
    late = queries_late.candidates({pk: each for pk, each in covered.items() if pk in places}, books.deals)
    books = with_days(books, _outside(wanted, late.values()), locations)
    adjustments = queries_late.adjustments(late, books)
    missing, payments = missing_bags([(pk, stretch) for pk, stretch, _ in wanted]), _payments(locations)
    carried, codes = queries.closing_cents(locations), _codes(books)
    found: list[Draft] = []
    for number, (pk, stretch, is_over) in enumerate(wanted):
        is_last = number + 1 == len(wanted) or wanted[number + 1][0] != pk or not wanted[number + 1][2]
        waiting = payments.get(pk, ())
        one = Draft(
            location=locations[pk],
            stretch=stretch,
            is_over=is_over,
            parts=books.parts(pk, stretch),
            adjustments=adjustments.pop(pk, ()),
            without_terms=books.without_terms(pk, stretch),
            missing=[bag for bag in missing.get(pk, ()) if stretch.since <= bag.day <= stretch.until],
            carried=carried.get(pk, 0),
            payments=[move for move in waiting if is_last or move.day <= stretch.until],
            replaces=_replaced(stretch, replaced.get(pk, ())),
            codes=codes,
        )
        if one.says_something:  # else no paper takes the payments off
            carried[pk] = one.closing
            payments[pk] = [move for move in waiting if move not in one.payments]
        found.append(one)
    return found


def _outside(wanted: Wanted, late: Iterable[Sequence[Settlement]]) -> dict[int, list[Stretch]]:
    """The days to read of each location."""
    found: dict[int, list[Stretch]] = defaultdict(list)
    for pk, stretch, _ in wanted:
        found[pk].append(stretch)
    for one in (one for each in late for one in each):
        found[one.location_id].append(Stretch(one.since, one.until))
    return found


def _payments(locations: Iterable[int]) -> dict[int, list[CashMove]]:
    found: dict[int, list[CashMove]] = defaultdict(list)
    for move in queries.unlisted_payments(locations):
        found[move.location_id].append(move)
    return found


def _codes(books: Books) -> dict[int, str]:
    ids = {deal.machine for each in books.deals.values() for deal in each if deal.machine}
    return dict(Machine.objects.filter(pk__in=ids).values_list("pk", "code")) if ids else {}


def _replaced(stretch: Stretch, void: Sequence[Settlement]) -> Settlement | None:
    """The newest void settlement of these days."""
    over = [one for one in void if one.since <= stretch.until and stretch.since <= one.until]
    return max(over, key=lambda one: one.number or 0, default=None)


def waiting_adjustment(settlement: Settlement, now: datetime) -> Adjustment | None:
    """What the next settlement of its location will adjust about one that was issued."""
    if settlement.withdrawn_at:
        return None
    every = drafts(now, [settlement.location_id])
    return next((one for each in every for one in each.adjustments if one.settlement == settlement), None)
