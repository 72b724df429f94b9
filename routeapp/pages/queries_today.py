"""What needs somebody now. Every read here is of the last weeks or of what stands today, never of all history."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef

from locations.agreements.queries import deals_for, own_terms
from locations.agreements.rules_terms import deal_on
from locations.placements.models import Placement
from locations.placements.queries import standing
from locations.sites.models import Location
from machines.arrivals.queries_claims import Standing, near
from machines.faults.queries import worst_faults
from machines.purchases.queries_orders import Way, late_ways
from routeapp.cash.models import BagCount
from routeapp.cash.queries import bags
from routeapp.cash.queries_deposits import bags_that_can_go
from routeapp.earnings.queries import Book, book, names_of
from routeapp.earnings.queries_take import take_between
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_remarks import FEW_PLAYS
from routeapp.expenses.queries import undecided
from routeapp.kit import clock
from routeapp.kit.money import as_text
from routeapp.kit.people import called
from routeapp.pages import queries_today_cabinets as cabinets
from routeapp.pages.queries_settling import settling
from routeapp.pages.queries_today_cabinets import Need
from routeapp.planning.models_due import ToDo
from routeapp.planning.queries_due import permits_near
from routeapp.planning.queries_outlook import outlook
from routeapp.planning.queries_running_out import running_out
from routeapp.visits.models import CashTaken, ServiceEntry
from routeapp.visits.queries_late import Doubt, doubts

RECENT = timedelta(days=13)  # and today
BAG_WINDOW = timedelta(days=90)
BAG_IS_OLD = timedelta(days=4)
BAG_IS_OVERDUE = timedelta(days=21)  # common practice, no source
MOST_BAGS = 20
MOST_FAULTS = 50


@dataclass(frozen=True)
class Today:
    needs: list[tuple[str, list[Need]]]  # by heading
    week: int
    week_before: int

    @property
    def number(self) -> int:
        return sum(len(each) for _, each in self.needs)


def today(now: datetime, zone: str, *, settles: bool = True, orders: bool = True) -> Today:
    """Everything that needs somebody at a moment, the worst first, and the take of this week against the last one.

    `settles` and `orders` say whether this is for somebody who settles with hosts, or orders prizes.
    """
    day = clock.local_day(now, zone)
    recent = book(Span(day - RECENT, day + timedelta(days=1)), prizes=False)
    placements = list(standing().select_related("machine__model", "location").order_by("machine__code"))
    waiting = {one.pk: one for one in undecided()[:MOST_FAULTS]}
    seen, faults = outlook(now).forecasts, worst_faults(MOST_FAULTS)
    needs = [
        ("Nobody can play", list(cabinets.stopped(faults))),
        ("Players who wait for their money", [cabinets.waits(one) for one in waiting.values()]),
        ("Faults and what players report", list(cabinets.told(faults, waiting))),
        ("Cash out of line", list(_short(recent))),
        ("Times in doubt", [_doubt(one) for one in doubts()]),
        ("Meters in question", list(_questions(recent))),
        ("Bags to count", list(_bags(list(recent.machines), now))),
        ("Bags not at the bank", list(_overdue(now))),
        ("Empty or nearly empty", list(cabinets.low(seen, now))),
        ("Prizes to order", list(cabinets.run_out(running_out(now))) if orders else []),
        ("Silent cabinets", list(cabinets.silent(placements, seen, recent, now))),
        ("Late orders", [_late_order(way) for way in late_ways(now, zone)]),
        ("Claims that run out", [_claim(one) for one in near(day, zone)]),
        ("Permits that run out", [_permit(*one, day) for one in permits_near(day)]),
        ("No agreement", list(_without_agreement(day))),
        ("Settling with hosts", list(_settling(now)) if settles else []),
    ]
    monday = clock.week_start(day)
    return Today(
        needs=[(title, each) for title, each in needs if each],
        week=take_between(monday, monday + timedelta(days=6)),
        week_before=take_between(monday - timedelta(days=7), monday - timedelta(days=1)),
    )


def _claim(claim: Standing) -> Need:
    period = claim.hurries[0]
    passed = period.is_missed(claim.today)
    left = "has passed" if passed else f"ends in {period.days_left(claim.today)} days"
    why = f"{period.what}: {period.period}, {left}."
    return Need(str(claim.claim), why, None, zone="", to="claim", argument=claim.claim.uuid, action="Look", bad=passed)


def _short(recent: Book) -> Iterator[Need]:
    short = [
        line
        for line in reversed(recent.lines)
        if line.variance is not None and line.variance < -FEW_PLAYS * recent.machines[line.machine].price_cents
    ]
    names = names_of({line.person for line in short if line.person is not None})
    for line in short:
        machine, location = recent.machines[line.machine], recent.locations[line.location]
        why = f"Short by {as_text(-(line.variance or 0))} against its meter; {names.get(line.person or 0, 'somebody')} "
        why += f"took {as_text(line.take)} at {location}."
        yield Need(machine.code, why, line.at, location.time_zone, "visit", line.visit, "Look at the visit")


def _questions(recent: Book) -> Iterator[Need]:
    for line in reversed(recent.lines):
        machine, zone = recent.machines[line.machine], recent.locations[line.location].time_zone
        for question in line.questions:
            if line.visit:
                yield Need(machine.code, question, line.at, zone, "visit", line.visit, "Answer it")
            else:
                yield Need(machine.code, question, line.at, zone, "cabinet-meters", machine.code, "Look at its meters")


def _late_order(way: Way) -> Need:
    late = f"{way.late} days later than promised. " if way.late and way.late > 0 else ""
    why = f"{late}Expected {way.expected.on.day} {way.expected.on:%b}" if way.expected else late
    why += f", {way.overdue} days ago." if way.overdue else "."
    what = f"Order {way.order} from {way.order.supplier}"
    return Need(what, why, None, "", "order", way.order.pk, "Ask and note it", bad=way.overdue > 0)


def _permit(permit: ToDo, words: str, day: date) -> Need:
    where, gone = permit.location, permit.by_day is not None and permit.by_day < day
    return Need(str(where), words, None, where.time_zone, "due-place", where.pk, "Look", bad=gone)


def _doubt(doubt: Doubt) -> Need:
    visit = doubt.visit
    what, zone = f"{called(visit.by)} at {visit.location}", visit.location.time_zone
    return Need(what, doubt.words, visit.received_at, zone, "visit", visit.pk, "Decide")


def _bags(machines: list[int], now: datetime) -> Iterator[Need]:
    """Sealed bags nobody counted, from the visits of the last weeks, oldest first."""
    # Naming the cabinets lets the index (machine, at) find these weeks without reading all others.
    entries = ServiceEntry.objects.filter(machine__in=machines, at__gte=now - BAG_WINDOW)
    entries = entries.filter(withdrawn_at=None, cash=CashTaken.SEALED)
    uncounted = entries.exclude(Exists(BagCount.objects.live().filter(bag=OuterRef("bag"))))
    for bag in bags().filter(pk__in=uncounted.order_by().values("bag")).order_by("at"):
        old = now - bag.at > BAG_IS_OLD
        why = f"Sealed at {bag.location}, {bag.where}, not counted yet{': it has waited long' if old else ''}."
        yield Need(str(bag), why, bag.at, bag.location.time_zone, "bag-count", bag.pk, "Count it", bad=old)


def _overdue(now: datetime) -> Iterator[Need]:
    """Bags whose money is known and should have been at the bank long ago, the oldest first."""
    late = bags_that_can_go().filter(at__lt=now - BAG_IS_OVERDUE, at__gte=now - 2 * BAG_WINDOW)
    for bag in late[:MOST_BAGS]:
        why = f"{as_text(bag.holds)}, {bag.where}, for {(now - bag.at).days} days."
        yield Need(str(bag), why, bag.at, bag.location.time_zone, "bag", bag.pk, "Look", bad=True)


def _settling(now: datetime) -> Iterator[Need]:
    """What can be issued, and what was issued and not paid."""
    found = settling(now).values()
    if drafts := [cents for one in found for cents in one.drafts]:
        what = f"{len(drafts)} settlement{'s' if len(drafts) > 1 else ''} to be issued"
        why = f"{as_text(sum(drafts))} for days that are over."
        yield Need(what, why, None, "", "settlements-due", None, "Look at the drafts")
    if owed := [one.owed for one in found if one.owed > 0]:
        why = f"By what was issued, the hosts of {len(owed)} location{'s' if len(owed) > 1 else ''} are owed it."
        yield Need(f"{as_text(sum(owed))} to be paid", why, None, "", "hosts-owed", None, "Whom to pay")


def _without_agreement(day: date) -> Iterator[Need]:
    stands = Placement.objects.filter(ended_at=None, location__closed_on=None)
    stands = set(stands.values_list("location", "machine"))
    deals = deals_for({location for location, _ in stands})
    bare = {location for location, machine in stands if deal_on(deals.get(location, ()), day, machine) is None}
    for location in Location.objects.filter(pk__in=bare):
        why = "Cabinets stand here and no terms are in force."
        yield Need(location.name, why, None, location.time_zone, "agreement-add", location.pk, "Write down the terms")
    for one in own_terms(day):
        if (one.location_id, one.machine_id) not in stands:
            what, why = f"{one.machine} at {one.location}", "The cabinet left, but terms for it alone go on there."
            yield Need(what, why, None, one.location.time_zone, "agreement-end", one.pk, "End them")
