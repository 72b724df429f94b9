"""Raising claims from findings, and what becomes of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from machines.arrivals.models import OF_ITEMS, WRONG, Arrival, Claim, ClaimItem, ClaimStep, Finding, Step
from machines.arrivals.rules_clocks import Regime
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import refuse_another, same


@dataclass(frozen=True)
class Asked:
    """One finding that is claimed, what it is worth, and what is asked for it."""

    finding: Finding
    cents: int
    wish: str


@transaction.atomic
def raise_claim(
    *,
    uuid: UUID,
    arrival: Arrival,
    addressee: str,
    name: str,
    regime: str,
    delivered_on: date,
    items: Sequence[Asked],
    promise_days: int | None = None,
    note: str = "",
    by: Any,
    at: datetime,
) -> Claim:
    """Put findings of a delivery into one claim. The same `uuid` again changes nothing.

    Refuses a claim for nothing, findings of other deliveries, what is fine, and a promise without its days.
    """
    lock("claim", uuid)
    said = {"addressee": addressee, "name": name, "regime": regime, "delivered_on": delivered_on, "note": note}
    if known := Claim.objects.filter(uuid=uuid).first():
        refuse_another(set(known.items.values_list("finding", flat=True)), {one.finding.pk for one in items})
        return same(known, arrival=arrival, **said)
    if not items:
        raise Refused("Tick what is claimed.")
    if any(one.finding.arrival.order_id != arrival.order_id or one.finding.state not in WRONG for one in items):
        raise Refused("Only what is damaged or missing in this delivery can be claimed here.")
    if regime == Regime.PROMISE and promise_days is None:
        raise Refused("Say within how many days they want to be told.", "promise_days")
    promise = promise_days if regime == Regime.PROMISE else None
    facts = {"by": by, "at": at, "received_at": at}
    claim = Claim.objects.create(uuid=uuid, arrival=arrival, promise_days=promise, **said, **facts)
    ClaimItem.objects.bulk_create(ClaimItem(claim=claim, **vars(one)) for one in items)
    audit.record("raised a claim", claim, by=by, at=at)
    return claim


@transaction.atomic
def note_step(
    *,
    uuid: UUID,
    claim: Claim,
    step: str,
    item: ClaimItem | None = None,
    cents: int | None = None,
    text: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
) -> ClaimStep:
    """Write down what happened to a claim or to one of its replacements. The same `uuid` again changes nothing.

    Refuses a replacement without its item, a payment without its amount, and anything after it was closed.
    """
    claim = Claim.objects.select_for_update().get(pk=claim.pk)
    about = {"item": item if step in OF_ITEMS else None, "cents": cents if step == Step.PAID else None}
    if known := ClaimStep.objects.filter(uuid=uuid).first():
        return same(known, claim=claim, step=step, text=text, **about)
    if ClaimStep.objects.live().filter(claim=claim, step=Step.CLOSED).exists():
        raise Refused("This claim is closed. Raise another one for what is new.")
    if step in OF_ITEMS and (item is None or item.claim_id != claim.pk):
        raise Refused("Say which replacement it is about.", "item")
    if step == Step.PAID and not cents:
        raise Refused("Say how much they paid.", "cents")
    facts = {"by": by, "at": at, "received_at": received_at}
    made = ClaimStep.objects.create(uuid=uuid, claim=claim, step=step, text=text, **about, **facts)
    audit.record(f"claim: {made.get_step_display().lower()}", claim, by=by, at=received_at)
    return made
