"""Meters come and go: fitting one, replacing it, setting it back, and the price that a plays meter carries."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from machines.cabinets.actions_meters import take_reading
from machines.cabinets.models import Counts, Machine, Meter, Reading, ReadingKind
from machines.cabinets.queries import last_read_at
from routeapp.kit import audit
from routeapp.kit.errors import Refused


@dataclass(frozen=True)
class NewMeter:
    """A meter about to be fitted; `value_cents` is asked of money meters only."""

    counts: str
    digits: int
    opening: int
    value_cents: int = 0
    counts_tests: bool = True


@dataclass(frozen=True)
class Closing:
    """What a meter showed last before a change, and what the person said when that looked odd."""

    value: int
    explained_as: str = ""
    reason: str = ""


@transaction.atomic
def add_meter(
    *,
    machine: Machine,
    new: NewMeter,
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
    replaces: Meter | None = None,
) -> Meter:
    """Fit a meter and start counting at its opening value. Refuses a second one of the same sort."""
    machine = Machine.objects.select_for_update().get(pk=machine.pk)
    sort = Counts(new.counts)
    if Meter.objects.filter(machine=machine, counts=sort, removed_at=None).exists():
        raise Refused(f"{machine} already has a meter for {sort.label.lower()}. Replace that one instead.", "counts")
    if sort == Counts.MONEY_IN and not new.value_cents:
        raise Refused("Say how much money one count of this meter stands for.", "value_cents")
    meter = Meter.objects.create(
        machine=machine,
        counts=sort,
        value_cents={Counts.PLAYS: machine.price_cents, Counts.MONEY_IN: new.value_cents}.get(sort, 0),
        digits=new.digits,
        counts_tests=new.counts_tests,
        installed_at=at,
        replaces=replaces,
    )
    _start_counting(meter, new.opening, by=by, at=at, received_at=received_at, source=source)
    audit.record("fitted a meter", meter, by=by, at=received_at)
    return meter


@transaction.atomic
def add_meters(*, machine: Machine, meters: Sequence[NewMeter], by: Any, at: datetime, received_at: datetime) -> None:
    """Fit several meters at once. Refuses when there is none, or one of a sort that is there already."""
    if not meters:
        raise Refused("Tick the meter that the cabinet has now. Nothing was changed.")
    for new in meters:
        add_meter(machine=machine, new=new, by=by, at=at, received_at=received_at)


@transaction.atomic
def replace_meter(
    *,
    meter: Meter,
    closing: Closing | None,
    new: NewMeter,
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
) -> Meter:
    """Take a meter off, keeping its last reading (None when it could not be read), and fit another in its place.

    Refuses a meter that is off already and a moment before its last reading.
    """
    meter = _locked(meter, at)
    _close(meter, closing, by=by, at=at, received_at=received_at, source=source)
    meter.removed_at = at
    meter.save(update_fields=["removed_at"])
    return add_meter(
        machine=meter.machine, new=new, replaces=meter, by=by, at=at, received_at=received_at, source=source
    )


@transaction.atomic
def reset_meter(
    *,
    meter: Meter,
    closing: Closing | None,
    opening: int,
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
) -> None:
    """Note that a meter was set back: what it showed before, and where it starts counting anew.

    The same reset sent twice is one. Refuses what replace_meter refuses.
    """
    meter = _locked(meter, at)
    started = Reading.objects.live().filter(meter=meter, kind=ReadingKind.BASELINE, at=at, value=opening)
    if started.filter(by=by, source=source).exists():
        return
    _close(meter, closing, by=by, at=at, received_at=received_at, source=source)
    _start_counting(meter, opening, by=by, at=at, received_at=received_at, source=source)
    audit.record("set back a meter", meter, by=by, at=received_at)


@transaction.atomic
def change_price(
    *,
    machine: Machine,
    price_cents: int,
    closing: Closing | None = None,
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
) -> None:
    """Change the price per play. A plays meter in use is read (`closing`) and counts on as a new row, so that
    plays before and after the change are worth what they cost. Refuses the change without that reading."""
    machine = Machine.objects.select_for_update().get(pk=machine.pk)
    if machine.price_cents == price_cents:
        return
    machine.price_cents = price_cents
    machine.save(update_fields=["price_cents"])
    meter = Meter.objects.filter(machine=machine, counts=Counts.PLAYS, removed_at=None).first()
    if meter is not None:
        if closing is None:
            raise Refused("Read the plays meter first: plays so far are counted at the old price.", "closing")
        goes_on = NewMeter(Counts.PLAYS, meter.digits, closing.value, counts_tests=meter.counts_tests)
        replace_meter(meter=meter, closing=closing, new=goes_on, by=by, at=at, received_at=received_at, source=source)
    audit.record("changed the price per play", machine, by=by, at=received_at)


def _locked(meter: Meter, at: datetime) -> Meter:
    """The meter, locked. Refuses one that is off already and a moment before its last reading."""
    Machine.objects.select_for_update().get(pk=meter.machine_id)
    meter = Meter.objects.select_related("machine").get(pk=meter.pk)
    if meter.removed_at:
        raise Refused(f"This meter of {meter.machine} was already replaced. Nothing was changed.")
    if at < max(last_read_at(meter) or at, meter.installed_at):
        raise Refused("The meter was read after that moment. Choose a later one.", "at")
    return meter


def _close(meter: Meter, closing: Closing | None, **fact: Any) -> None:
    if closing is None:
        return
    take_reading(meter=meter, value=closing.value, explained_as=closing.explained_as, reason=closing.reason, **fact)


def _start_counting(meter: Meter, opening: int, **fact: Any) -> None:
    take_reading(meter=meter, value=opening, kind=ReadingKind.BASELINE, **fact)
