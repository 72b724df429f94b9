"""Deliveries: what came, what was found, what is still to be unpacked."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from machines.arrivals.models import WRONG, Arrival, ArrivalPhoto, Claim, ClaimItem, Finding, Step
from machines.arrivals.rules_checklist import USUAL
from machines.cabinets.models import GONE, CabinetModel, Machine, lines_of
from machines.purchases.models import Order


def checks_of(model: CabinetModel) -> list[str]:
    """What to look at when a cabinet of this model is unpacked."""
    return lines_of(model.arrival_checks) or list(USUAL)


def arrivals() -> QuerySet:
    """Deliveries at the door, newest first, each with how much of it is `wrong`, and is not `claimed` yet."""
    wrong = Q(findings__state__in=WRONG, findings__withdrawn_at=None)
    later = Q(followed_by__findings__state__in=WRONG, followed_by__findings__withdrawn_at=None)
    return (
        Arrival.objects.live()
        .filter(follows=None)
        .select_related("order__supplier", "by")
        .annotate(
            wrong=Count("findings", filter=wrong, distinct=True)
            + Count("followed_by__findings", filter=later, distinct=True)
        )
        .order_by("-at", "-pk")
    )


def expected_orders() -> QuerySet:
    """Orders whose delivery nobody has written down here yet."""
    seen = Arrival.objects.live().filter(order=OuterRef("pk")).exclude(outside="refused")
    return Order.objects.exclude(Exists(seen)).select_related("supplier").prefetch_related("lines__model")


def to_unpack(order: Order, besides: Arrival | None = None) -> QuerySet:
    """Cabinets of an order that nobody has looked at yet, as if `besides` had not been written down."""
    looked_at = Finding.objects.live().filter(machine=OuterRef("pk"), arrival__order=order)
    looked_at = looked_at.exclude(arrival=besides) if besides else looked_at
    mine = Machine.objects.filter(bought__line__order=order).exclude(status__in=GONE)
    return mine.exclude(Exists(looked_at)).select_related("model").order_by("code")


def findings_of(order: Order) -> QuerySet:
    """All that was found on an order's deliveries, each with whether it is `in_claim`, and `replaced` since."""
    items = ClaimItem.objects.filter(finding=OuterRef("pk"), claim__withdrawn_at=None)
    fitted = items.filter(steps__step=Step.FITTED, steps__withdrawn_at=None)
    live = Finding.objects.live().filter(arrival__order=order)
    live = live.annotate(in_claim=Exists(items), replaced=Exists(fitted))
    return live.select_related("machine", "arrival", "by").order_by("machine__code", "pk")


def told_of(arrival: Arrival) -> QuerySet:
    """All that was written down of one delivery, the newest first; corrected versions too."""
    every = Arrival.objects.filter(order=arrival.order_id).select_related("by", "replaces")
    return every.order_by("-received_at", "-pk")


@dataclass(frozen=True)
class Looked:
    """One cabinet, or the delivery itself, with what was found and the photos."""

    machine: Machine | None
    findings: list[Finding]
    photos: list[ArrivalPhoto]

    @property
    def not_fine(self) -> list[tuple[Finding, list[ArrivalPhoto]]]:
        """What was not fine, each with the photos of that line."""
        wrong = [one for one in self.findings if one.state != "fine"]
        return [(one, [photo for photo in self.photos if photo.what and photo.what == one.what]) for one in wrong]

    @property
    def other_photos(self) -> list[ArrivalPhoto]:
        shown = {one.what for one in self.findings if one.state != "fine"}
        return [photo for photo in self.photos if photo.what not in shown]

    @property
    def is_wrong(self) -> bool:
        return any(one.state in WRONG and not one.replaced for one in self.findings)


def looked_at(order: Order) -> list[Looked]:
    """What was found, first on the delivery, then by cabinet."""
    findings: dict[int | None, list[Finding]] = defaultdict(list)
    photos: dict[int | None, list[ArrivalPhoto]] = defaultdict(list)
    machines: dict[int | None, Machine | None] = {}
    for finding in findings_of(order):
        findings[finding.machine_id].append(finding)
        machines[finding.machine_id] = finding.machine
    for photo in photos_of(order):
        photos[photo.machine_id].append(photo)
        machines[photo.machine_id] = photo.machine
    in_order = sorted(machines.items(), key=lambda pair: pair[1].code if pair[1] else "")
    return [Looked(machine, findings[key], photos[key]) for key, machine in in_order]


def photos_of(order: Order) -> QuerySet:
    """Photos of an order's deliveries as they stand, each with its cabinet."""
    return ArrivalPhoto.objects.filter(arrival__order=order, arrival__withdrawn_at=None).select_related("machine")


def claims_of(order: Order) -> QuerySet:
    return Claim.objects.live().filter(arrival__order=order).select_related("arrival__order")


def damaged_cabinets(order: Order) -> int:
    """How many cabinets of an order have something damaged or missing."""
    wrong = Finding.objects.live().filter(arrival__order=order, machine__isnull=False, state__in=WRONG)
    return wrong.order_by().values("machine").distinct().count()
