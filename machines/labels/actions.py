"""Making and renewing labels, and what strangers send through them."""

import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F
from django.utils.crypto import salted_hmac

from machines.cabinets.models import Machine
from machines.faults import actions as faults
from machines.faults.models import Fault, Via
from machines.labels import rules
from machines.labels.models import Label, ReportWindow
from machines.labels.queries import labels_of
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same


def new_code() -> str:
    return "".join(secrets.choice(rules.ALPHABET) for _ in range(rules.LENGTH))


@transaction.atomic
def labels_for(*, machines: Sequence[Machine], by: Any, at: datetime) -> list[Label]:
    """The label of each of these cabinets, in their order; made now for those that have none."""
    found = labels_of(machines)
    missing = [machine for machine in machines if machine.pk not in found]
    if missing:
        list(Machine.objects.select_for_update().filter(pk__in=[machine.pk for machine in missing]).order_by("pk"))
        found |= labels_of(missing)  # somebody else may have been quicker
        made = [_label(machine, by, at) for machine in missing if machine.pk not in found]
        found |= {label.machine_id: label for label in Label.objects.bulk_create(made)}
    return [found[machine.pk] for machine in machines]


def label_for(*, machine: Machine, by: Any, at: datetime) -> Label:
    """The label of one cabinet, made now if it has none."""
    return labels_for(machines=[machine], by=by, at=at)[0]


@transaction.atomic
def renew_label(*, label: Label, by: Any, at: datetime) -> Label:
    """Withdraw a label, so that its code leads nowhere, and make another. Sent twice, it is renewed once."""
    machine = Machine.objects.select_for_update().get(pk=label.machine_id)
    if Label.objects.live().filter(pk=label.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record("renewed the label", machine, by=by, at=at)
    return label_for(machine=machine, by=by, at=at)


@transaction.atomic
def report_from_label(
    *,
    label: Label,
    address: str,
    uuid: UUID,
    text: str,
    about: str,
    stops_play: bool = False,
    amount_cents: int | None = None,
    contact: str = "",
    at: datetime,
) -> Fault:
    """Take in a stranger's report. The same `uuid` again changes nothing and counts for nothing.

    Refuses more than a few reports an hour from one label or one address.
    """
    lock("report", uuid)
    if sent_before := Fault.objects.live().filter(uuid=uuid).first():
        return same(sent_before, machine=label.machine, text=text)
    _count(f"label:{label.pk}", rules.REPORTS_AN_HOUR_PER_LABEL, at)
    # A keyed hash: limits need to know that two reports came from one place, not from where.
    sender = salted_hmac("labels.sender", rules.sender(address), algorithm="sha256").hexdigest()
    _count(f"address:{sender}", rules.REPORTS_AN_HOUR_PER_ADDRESS, at)
    return faults.report_fault(
        uuid=uuid,
        machine=label.machine,
        text=text,
        about=about,
        via=Via.LABEL,
        stops_play=stops_play,
        amount_cents=amount_cents,
        contact=contact,
        by=None,
        at=at,
        received_at=at,
    )


def _count(key: str, most: int, at: datetime) -> None:
    """Count one report in this hour's window. The database compares and adds in one step, so none slips through."""
    hour = at.replace(minute=0, second=0, microsecond=0)
    ReportWindow.objects.filter(hour__lt=hour - timedelta(days=1)).delete()
    ReportWindow.objects.get_or_create(key=key, hour=hour)
    room = ReportWindow.objects.filter(key=key, hour=hour, reports__lt=most)
    if not room.update(reports=F("reports") + 1):
        raise Refused("Too many reports came in within this hour. Try again later, or tell the staff here.")


def _label(machine: Machine, by: Any, at: datetime) -> Label:
    return Label(machine=machine, code=new_code(), by=by, at=at, received_at=at)
