"""Claims: where each stands, what runs out when, and what a supplier's deliveries were like."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

import holidays
from django.db.models import Avg, Count, Prefetch, Q, QuerySet

from machines.arrivals import rules_clocks
from machines.arrivals.models import WRONG, Addressee, Claim, ClaimItem, ClaimStep, Finding, Step
from machines.arrivals.rules_clocks import Deadline, Regime
from machines.purchases.models import OrderedCabinet, Supplier
from machines.purchases.queries_orders import Delivered, records
from routeapp.kit.clock import local_day

SOON = timedelta(days=14)


def claims() -> QuerySet:
    """Each with its items and its live steps (`told`), oldest first."""
    steps = Prefetch("steps", ClaimStep.objects.live().select_related("by", "item__finding__machine"), to_attr="told")
    items = Prefetch("items", ClaimItem.objects.select_related("finding__machine"))
    found = Claim.objects.live().select_related("arrival__order__supplier", "by")
    return found.prefetch_related(items, steps)


@dataclass(frozen=True)
class ClaimItemState:
    """One item, and how far its replacement is: the newest of sent, came and fitted, or ""."""

    item: ClaimItem
    step: str

    @property
    def words(self) -> str:
        if self.step:
            return Step(self.step).label
        return "Waiting for the replacement" if self.item.wish == "part" else "Waiting for the money"


@dataclass(frozen=True)
class Standing:
    """Where a claim stands on a day."""

    claim: Claim
    today: date
    deadlines: list[Deadline]
    items: list[ClaimItemState]

    @property
    def asked(self) -> int:
        return sum(one.item.cents for one in self.items)

    @property
    def paid(self) -> int:
        return sum(step.cents or 0 for step in self.claim.told)

    @property
    def made_good(self) -> int:
        """What came back, in money and in replacements that are fitted, and never more than was asked."""
        fitted = sum(one.item.cents for one in self.items if one.step == Step.FITTED)
        return min(self.asked, self.paid + fitted)

    @property
    def is_closed(self) -> bool:
        return any(step.step == Step.CLOSED for step in self.claim.told)

    @property
    def next_deadline(self) -> Deadline | None:
        """The first that runs and is not missed; a claim that is closed has none."""
        running = [one for one in self.deadlines if one.runs() and not one.is_missed(self.today)]
        return None if self.is_closed else min(running, key=lambda one: one.on or date.max, default=None)

    @property
    def urgency(self) -> tuple[bool, date]:
        """What sorts claims: open ones first, by the day that comes next."""
        coming = self.next_deadline
        return self.is_closed, coming.on if coming and coming.on else date.max

    @property
    def missed(self) -> list[Deadline]:
        return [one for one in self.deadlines if one.is_missed(self.today)]

    @property
    def hurries(self) -> list[Deadline]:
        """Periods that end within SOON or have ended, and nothing was done for them; the nearest first."""
        last = self.today + SOON
        late = [one for one in self.deadlines if one.runs() and one.on and one.on <= last]
        return [] if self.is_closed else sorted(late, key=lambda one: one.on or date.max)

    @property
    def word(self) -> str:
        if self.is_closed:
            return "Closed"
        return self.claim.told[-1].get_step_display() if self.claim.told else "Not sent yet"


def standing(claim: Claim, today: date, zone: str) -> Standing:
    """`claim` is one of `claims()`."""
    happened = {"delivery": claim.delivered_on}
    for step in claim.told:
        happened.setdefault(step.step, local_day(step.at, zone))
    if Step.CLAIM in happened:  # a claim with its amount is a notice too
        happened["notice"] = min(happened.get("notice", date.max), happened["claim"])
    free = us_holidays(claim.delivered_on.year) if claim.regime == Regime.LTL else ()
    clocks = rules_clocks.clocks(claim.regime, claim.delivered_on, claim.promise_days)
    newest = {step.item_id: step.step for step in claim.told if step.item_id}
    return Standing(
        claim=claim,
        today=today,
        deadlines=[rules_clocks.deadline(clock, happened, free) for clock in clocks],
        items=[ClaimItemState(item, newest.get(item.pk, "")) for item in claim.items.all()],
    )


def near(today: date, zone: str) -> list[Standing]:
    """Claims that are open and have a period that ends soon, or was missed and is not met yet; the nearest first."""
    closed = ClaimStep.objects.live().filter(step=Step.CLOSED)
    stood = [standing(claim, today, zone) for claim in claims().exclude(pk__in=closed.values("claim"))]
    found = [one for one in stood if one.hurries]
    return sorted(found, key=lambda one: one.hurries[0].on or date.max)


def us_holidays(year: int) -> set[date]:
    """The federal holidays of a year and the next, on the days they are observed."""
    return set(holidays.country_holidays("US", years=(year, year + 1)))


@dataclass(frozen=True)
class Score:
    """What a supplier's deliveries and claims were like, from what is written down here; None where nothing is."""

    supplier: Supplier
    deliveries: int
    late_days: float | None  # against the quotes, below zero when early; the median
    landed_cents: int | None  # of one cabinet at the door, the mean
    cabinets: int  # that were looked at
    damaged: int
    claims: int
    reply_days: float | None  # from the first thing sent to the first answer, the median
    asked: int
    made_good: int

    @property
    def good_share(self) -> int | None:
        """In whole percents, as basis points."""
        return 100 * (100 * self.made_good // self.asked) if self.asked else None


def scores(stood: Iterable[Standing], zone: str) -> list[Score]:
    """Every supplier's; `stood` are all claims as they stand."""
    suppliers = list(Supplier.objects.all())
    seen = Finding.objects.live().filter(machine__isnull=False).order_by().values_list("arrival__order__supplier")
    counts = {
        "all": Count("machine", distinct=True),
        "broken": Count("machine", distinct=True, filter=Q(state__in=WRONG)),
    }
    looked_at = {pk: both for pk, *both in seen.annotate(**counts)}
    bought = OrderedCabinet.objects.filter(cost_cents__isnull=False).order_by().values_list("line__order__supplier")
    landed = dict(bought.annotate(Avg("cost_cents")))
    known = records(suppliers, zone)
    mine: dict[int, list[Standing]] = defaultdict(list)
    for one in stood:
        if one.claim.addressee == Addressee.SUPPLIER:
            mine[one.claim.arrival.order.supplier_id].append(one)
    return [
        _score(one, known[one.pk].deliveries, landed.get(one.pk), looked_at.get(one.pk, [0, 0]), mine[one.pk])
        for one in suppliers
    ]


def _score(
    supplier: Supplier, deliveries: list[Delivered], landed: float | None, seen: list[int], stood: list[Standing]
) -> Score:
    waits = [wait for one in stood if (wait := _reply_days(one.claim)) is not None]
    return Score(
        supplier=supplier,
        deliveries=len(deliveries),
        late_days=median(one.late for one in deliveries) if deliveries else None,
        landed_cents=round(landed) if landed is not None else None,
        cabinets=seen[0],
        damaged=seen[1],
        claims=len(stood),
        reply_days=median(waits) if waits else None,
        asked=sum(one.asked for one in stood),
        made_good=sum(one.made_good for one in stood),
    )


def _reply_days(claim: Claim) -> float | None:
    sent = next((step.at for step in claim.told if step.step in (Step.NOTICE, Step.CLAIM)), None)
    answers = (Step.REPLY, Step.SENT, Step.PAID, Step.REFUSED)
    reply = next((step.at for step in claim.told if step.step in answers), None)
    return (reply - sent).total_seconds() / 86_400 if sent and reply else None
