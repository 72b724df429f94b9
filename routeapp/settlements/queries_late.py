"""What came in after a settlement was issued, and by how much that settlement would be another now.

The sum of an issued settlement is compared with what the same days give by all facts known now; the difference, less
what later settlements adjusted already, stands on the next one. So the papers of a host always add up to the facts.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import F, Min, Q, Sum, Value
from django.db.models.functions import Coalesce

from locations.agreements.models import Agreement
from locations.agreements.rules_periods import DAY, Stretch
from locations.agreements.rules_terms import Deal
from locations.taxes.models import CabinetTax, LocationTax, TaxRule
from routeapp.cash.models import CashMove
from routeapp.kit import clock
from routeapp.kit.money import as_text
from routeapp.kit.prepared import Many
from routeapp.settlements import rules
from routeapp.settlements.models import Settlement, SettlementLine
from routeapp.settlements.queries_brought import Books, apart, bearing, counted_moves
from routeapp.stock.models import StockMove
from routeapp.visits.models import ServiceEntry, Visit

MARGIN = timedelta(minutes=15)  # what was being written just then may not have been seen
FEW = 20  # locations: so many are each looked up in their index, more are read in one go
MOST_NAMED = 3
Settled = Mapping[int, Sequence[Settlement]]  # those that hold, by location, in order of time


@dataclass(frozen=True)
class Adjustment:
    """By how much an issued settlement would be another now; `late` are visits received after it, (id, words)."""

    settlement: Settlement
    cents: int
    words: str
    late: Sequence[tuple[UUID, str]]


def seen_until(at: datetime, of: type[CashMove | StockMove] = CashMove) -> int:
    """The number of the newest move, of money or `of` prizes, that whoever issues something then has surely seen."""
    newest = of.objects.filter(received_at__lte=at - MARGIN).order_by("-pk").values_list("pk", flat=True)
    return newest.first() or 0


def candidates(settled: Settled, deals: Mapping[int, Sequence[Deal]]) -> dict[int, list[Settlement]]:
    """The issued settlements that may be another now, by location: something about their days came in later."""
    papers = {pk: [one for one in each if one.number is not None] for pk, each in settled.items()}
    papers = {pk: each for pk, each in papers.items() if each}
    if not papers:
        return {}
    found = defaultdict(set, {pk: {one.pk for one in each if _closed_within(one)} for pk, each in papers.items()})
    for pk, day in _late_days(papers):
        found[pk] |= {one.pk for one in papers[pk] if one.since <= day <= one.until}
    for pk, starts_on, came in (*_late_terms(papers, deals), *_late_prices(papers, deals)):
        changed = [one for one in papers[pk] if one.until >= starts_on]
        found[pk] |= {one.pk for one in changed if one.received_at - MARGIN < came}
    unsettled = SettlementLine.objects.filter(settlement__withdrawn_at__isnull=False, adjusts__withdrawn_at=None)
    for pk, other in unsettled.filter(settlement__location__in=papers).values_list("settlement__location", "adjusts"):
        found[pk].add(other)
    kept = {pk: [one for one in papers[pk] if one.pk in ids] for pk, ids in found.items()}
    return {pk: each for pk, each in kept.items() if each}


def _closed_within(one: Settlement) -> bool:
    return one.location.closed_on is not None and one.since <= one.location.closed_on < one.until


def _late_days(papers: Settled) -> Iterable[tuple[int, Any]]:
    """Days of which something was written down after the last paper of their location, by location."""
    new, old = apart({pk: max(one.received_at for one in each) for pk, each in papers.items()})
    for some, each_place in ((new, len(new) <= FEW), (old, True)):
        if some:
            yield from _late_days_of({pk: papers[pk] for pk in some}, each_place)


def _late_days_of(papers: Settled, each_place: bool) -> Iterable[tuple[int, Any]]:
    seen = {pk: max(one.moves_until for one in each) for pk, each in papers.items()}
    last = max(one.until for each in papers.values() for one in each)
    moves = CashMove.objects.filter(pk__gt=min(seen.values())).order_by()
    if each_place:
        moves = moves.filter(location__in=Many(papers), day__lte=last)
    else:  # by their numbers, of which few are new; an index of days would bring up all history
        moves = moves.annotate(on=Coalesce(F("day"), Value(last))).filter(on__lte=last)
    for location, day, number in moves.values_list("location", "day", "pk"):
        if number > seen.get(location, number):
            yield location, day
    since = min(max(one.received_at for one in each) for each in papers.values()) - MARGIN
    visits = Visit.objects.filter(received_at__gt=since, location__in=Many(papers)).order_by()
    for location, at, zone in visits.values_list("location", "at", "location__time_zone"):
        yield location, clock.local_day(at, zone)


TOLD = ("received_at", "withdrawn_at")


def _late_terms(papers: Settled, deals: Mapping[int, Sequence[Deal]]) -> Iterable[tuple[int, date, datetime]]:
    """Terms and tax rules written down or withdrawn after the first paper: (location, from which day on, when)."""
    since = min(one.received_at for each in papers.values() for one in each) - MARGIN
    late = Q(received_at__gt=since) | Q(withdrawn_at__gt=since)
    taxed = bearing("tax", papers, deals)
    rows = [*Agreement.objects.filter(late, location__in=papers).values_list("location", "starts_on", *TOLD)]
    if taxed:
        rows += LocationTax.objects.filter(late, location__in=taxed).values_list("location", "starts_on", *TOLD)
        there = "jurisdiction__locations__location"
        rules = TaxRule.objects.filter(late, **{f"{there}__in": taxed})
        rows += rules.order_by().values_list(there, "valid_from", *TOLD)
        cabinets = CabinetTax.objects.filter(late).values_list("starts_on", *TOLD)
        rows += [(pk, *row) for row in cabinets for pk in taxed]
    for location, starts_on, received, withdrawn in rows:
        yield location, starts_on, withdrawn or received


def _late_prices(papers: Settled, deals: Mapping[int, Sequence[Deal]]) -> Iterable[tuple[int, date, datetime]]:
    """Prizes that moved in days settled and were told after the last paper: they were won at another place or price,
    or change what all won since then cost."""
    seen = {pk: max(one.received_at for one in papers[pk]) - MARGIN for pk in bearing("prize_cost", papers, deals)}
    if not seen:
        return
    first, last = min(seen.values()), max(one.until for pk in seen for one in papers[pk])
    until = clock.start_of_day(last, "UTC") + 2 * DAY
    moves = StockMove.objects.filter(pk__gt=seen_until(first, StockMove), received_at__gt=first, at__lt=until)
    for received, at in moves.order_by().values_list("received_at").annotate(Min("at")):
        for pk in (pk for pk, moment in seen.items() if moment < received):
            yield pk, at.date() - DAY, received


def adjustments(late: Mapping[int, Sequence[Settlement]], books: Books) -> dict[int, list[Adjustment]]:
    """What the next settlement of each location has to adjust. `books` must hold the days of these settlements."""
    ids = [one.pk for each in late.values() for one in each]
    if not ids:
        return {}
    own = dict(
        SettlementLine.objects.filter(settlement__in=ids, adjusts=None)
        .order_by()
        .values_list("settlement")
        .annotate(all=Sum("cents"))
    )
    live = SettlementLine.objects.filter(adjusts__in=ids, settlement__withdrawn_at=None).order_by()
    adjusted = dict(live.values_list("adjusts").annotate(all=Sum("cents")))
    wrong = []
    for one in (one for each in late.values() for one in each):
        so_far = own.get(one.pk, 0) + adjusted.get(one.pk, 0)
        now = books.cents(one.location_id, Stretch(one.since, one.until))
        if now != so_far:
            wrong.append((one, so_far, now))
    visits, moneys = late_visits([one for one, *_ in wrong]), _late_moneys([one for one, *_ in wrong])
    found: dict[int, list[Adjustment]] = defaultdict(list)
    for one, so_far, now in wrong:
        came = visits.get(one.pk, [])
        span = rules.spoken(Stretch(one.since, one.until))
        words = f"{one}, {span}: {as_text(now)} instead of {as_text(so_far)}: {_why(one, came, one.pk in moneys)}"
        found[one.location_id].append(Adjustment(one, now - so_far, words[:400], came))
    return found


def _why(settlement: Settlement, late: Sequence[tuple[UUID, str]], money: bool) -> str:
    if late:
        more = f" and {len(late) - MOST_NAMED} more" if len(late) > MOST_NAMED else ""
        return "; ".join(text for _, text in late[:MOST_NAMED]) + more
    if money:
        return "card sales, card fees or refunds of these days were told later"
    if _closed_within(settlement):
        return f"the location was closed on {settlement.location.closed_on:%-d %B %Y}"
    return "the terms or taxes of these days, or what prizes cost, were changed"


def _late_moneys(settlements: Sequence[Settlement]) -> set[int]:
    """Those of which money came in later that no visit brought."""
    if not settlements:
        return set()
    days = min(one.since for one in settlements), max(one.until for one in settlements)
    places, first = {one.location_id for one in settlements}, min(one.moves_until for one in settlements)
    moves = counted_moves().filter(location__in=places, day__range=days, pk__gt=first, entry=None)
    found: dict[int, list[tuple[date, int]]] = defaultdict(list)
    for location, day, number in moves.values_list("location", "day", "pk"):
        found[location].append((day, number))
    return {
        one.pk
        for one in settlements
        for day, number in found[one.location_id]
        if one.since <= day <= one.until and number > one.moves_until
    }


def late_visits(settlements: Sequence[Settlement]) -> dict[int, list[tuple[UUID, str]]]:
    """Visits of the days of each settlement that came in, or whose money was counted, after it was issued."""
    if not settlements:
        return {}
    places, first = Many({one.location_id for one in settlements}), min(one.received_at for one in settlements)
    days = min(one.since for one in settlements), max(one.until for one in settlements)
    moves = CashMove.objects.filter(location__in=places, day__range=days, received_at__gt=first, entry__isnull=False)
    told: dict[int, list[Any]] = defaultdict(list)
    for location, *row in moves.order_by().values_list("location", "day", "received_at", "pk", "entry"):
        told[location].append(row)
    entries = Many({row[-1] for each in told.values() for row in each})
    visit_of = dict(ServiceEntry.objects.filter(pk__in=entries).order_by().values_list("pk", "visit"))
    since, until = clock.start_of_day(days[0] - DAY, "UTC"), clock.start_of_day(days[1] + 2 * DAY, "UTC")
    came = Q(received_at__gt=first, at__gte=since, at__lt=until)
    counted = Q(pk__in=Many(set(visit_of.values())))
    rows = Visit.objects.filter(counted | came, location__in=places, withdrawn_at=None)
    visits: dict[int, list[Visit]] = defaultdict(list)
    for visit in rows.order_by("at").defer("document"):
        visits[visit.location_id].append(visit)
    found = {}
    for one in settlements:
        counts = {visit_of.get(entry) for *row, entry in told[one.location_id] if _counted_after(one, *row)}
        zone = one.location.time_zone
        found[one.pk] = [
            (visit.pk, _late_words(visit, one, zone))
            for visit in visits[one.location_id]
            if visit.pk in counts or _came_after(one, visit, zone)
        ]
    return found


def _counted_after(one: Settlement, day: date, received: datetime, number: int) -> bool:
    return one.since <= day <= one.until and received > one.received_at and number > one.moves_until


def _came_after(one: Settlement, visit: Visit, zone: str) -> bool:
    return visit.received_at > one.received_at and one.since <= clock.local_day(visit.at, zone) <= one.until


def _late_words(visit: Visit, settlement: Settlement, zone: str) -> str:
    day, received = f"visit of {clock.local_day(visit.at, zone):%-d %B}", clock.local_day(visit.received_at, zone)
    if visit.received_at <= settlement.received_at:
        return f"{day}, whose money was counted later"
    what = "withdrawn" if visit.void else "corrected" if visit.replaces else "received"
    return f"{day}, {what} {received:%-d %B %Y}"
