"""Cabinets and their models: adding, changing, their status and their settings."""

import uuid
from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.dispatch import Signal

from machines.cabinets.actions_meter_changes import NewMeter, add_meter
from machines.cabinets.models import CabinetModel, Machine, SettingsChange, Status, StatusChange
from machines.cabinets.queries import NEWEST_FIRST
from machines.cabinets.rules_entry import clean_code
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.rows import write

renamed = Signal()  # a `machine` whose code is another now


@transaction.atomic
def add_model(*, by: Any, at: datetime, **fields: Any) -> CabinetModel:
    """Add a model of cabinet; `fields` are columns of CabinetModel. Refuses a name that another has."""
    _check_name(fields["name"])
    model = CabinetModel.objects.create(**fields)
    audit.record("added a model", model, by=by, at=at)
    return model


@transaction.atomic
def change_model(*, model: CabinetModel, by: Any, at: datetime, **fields: Any) -> CabinetModel:
    """Change columns of a model. Cabinets keep their own prices. Refuses a name that another has."""
    model = CabinetModel.objects.select_for_update().get(pk=model.pk)
    _check_name(fields.get("name", model.name), besides=model)
    write(model, fields)
    audit.record("changed a model", model, by=by, at=at)
    return model


@transaction.atomic
def add_cabinet(
    *,
    code: str,
    model: CabinetModel,
    price_cents: int,
    serial: str = "",
    notes: str = "",
    status: str = Status.READY,
    photo: bytes | None = None,
    meters: Iterable[NewMeter] = (),
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Machine:
    """Add a cabinet with the first step of its life and the meters it has. Refuses a code that is taken."""
    machine = Machine.objects.create(
        code=_free_code(code), model=model, price_cents=price_cents, serial=serial, notes=notes, status=status
    )
    _keep_photo(machine, photo)
    change_status(machine=machine, status=status, by=by, at=at, received_at=received_at)
    for new in meters:
        add_meter(machine=machine, new=new, by=by, at=at, received_at=received_at)
    audit.record("added a cabinet", machine, by=by, at=received_at)
    return machine


@transaction.atomic
def change_cabinet(
    *, machine: Machine, code: str, photo: bytes | None = None, by: Any, at: datetime, **fields: Any
) -> Machine:
    """Change code, photo and the columns in `fields`; price, status and settings have actions of their own."""
    machine = Machine.objects.select_for_update().get(pk=machine.pk)
    before = machine.code
    write(machine, {**fields, "code": _free_code(code, besides=machine)})
    if machine.code != before:
        renamed.send(Machine, machine=machine)
    _keep_photo(machine, photo)
    audit.record("changed a cabinet", machine, by=by, at=at)
    return machine


@transaction.atomic
def change_status(
    *,
    machine: Machine,
    status: str,
    note: str = "",
    sold_cents: int | None = None,
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
) -> StatusChange:
    """Append one step to a cabinet's life; Machine.status repeats the newest one. The same step sent twice is one.

    Refuses a price of what was not sold, and by hand what does not fit where the cabinet stands.
    """
    if sold_cents is not None and status != Status.SOLD:
        raise Refused("A price belongs to a cabinet that was sold. Say that it was, or leave this empty.", "sold_cents")
    said = {"status": status, "note": note, "sold_cents": sold_cents}
    Machine.objects.select_for_update().get(pk=machine.pk)
    if source is None:
        _check_fits(machine, status)
    live = StatusChange.objects.live().filter(machine=machine)
    change, made = live.get_or_create(
        machine=machine, **said, at=at, by=by, source=source, defaults={"received_at": received_at}
    )
    machine.status = live.order_by(*NEWEST_FIRST).values_list("status", flat=True)[0]
    machine.save(update_fields=["status"])
    if made and source is None:  # a document has its own line in the log
        audit.record(f"set status to {change.get_status_display().lower()}", machine, by=by, at=received_at)
    return change


def _check_fits(machine: Machine, status: str) -> None:
    """Placing a cabinet and taking it away say by themselves what it is from then on."""
    stay = machine.placements.filter(ended_at=None).select_related("location").first()
    if stay and status not in (Status.PLACED, Status.OUT_OF_ORDER):
        said = f"{machine} stands at {stay.location}. End that placement first"
        raise Refused(f"{said}; it asks what the cabinet is from then on.", "status")
    if stay is None and status == Status.PLACED:
        raise Refused(f"{machine} stands nowhere. Assign it to a location; that makes it placed.", "status")


@transaction.atomic
def withdraw_status(*, change: StatusChange, by: Any, at: datetime) -> None:
    """Take back a step of a cabinet's life that its document told wrongly; the one before it holds again."""
    machine = Machine.objects.select_for_update().get(pk=change.machine_id)
    live = StatusChange.objects.live().filter(machine=machine)
    if live.filter(pk=change.pk).update(withdrawn_at=at, withdrawn_by=by):
        machine.status = live.order_by(*NEWEST_FIRST).values_list("status", flat=True).first() or Status.ORDERED
        machine.save(update_fields=["status"])
        audit.record(f"took back the status {change.get_status_display().lower()}", machine, by=by, at=at)


@transaction.atomic
def change_settings(
    *,
    machine: Machine,
    grip_strength: int | None = None,
    payout_target: int | None = None,
    play_seconds: int | None = None,
    credits_per_coin: int | None = None,
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
) -> SettingsChange:
    """Append what was set; None leaves a setting as it stood. The same change sent twice is one."""
    if grip_strength is not None and grip_strength > 100:
        raise Refused("Grip strength is a percentage: 100 at most.", "grip_strength")
    values = {
        "grip_strength": grip_strength,
        "payout_target": payout_target,
        "play_seconds": play_seconds,
        "credits_per_coin": credits_per_coin,
    }
    if all(value is None for value in values.values()):
        raise Refused("Nothing was changed: every value is as it was.")
    Machine.objects.select_for_update().get(pk=machine.pk)
    live = SettingsChange.objects.live().filter(machine=machine)
    change, made = live.get_or_create(
        machine=machine, **values, at=at, by=by, source=source, defaults={"received_at": received_at}
    )
    if made and source is None:
        audit.record("changed settings", machine, by=by, at=received_at)
    return change


def _check_name(name: str, besides: CabinetModel | None = None) -> None:
    lock("model", name)
    if CabinetModel.objects.filter(name=name).exclude(pk=besides.pk if besides else None).exists():
        raise Refused(f"There is a model {name} already. Choose another name.", "name")


def _free_code(code: str, besides: Machine | None = None) -> str:
    try:
        code = clean_code(code)
    except ValueError as problem:
        raise Refused(str(problem), "code") from None
    lock("cabinet code", code)
    if Machine.objects.filter(code=code).exclude(pk=besides.pk if besides else None).exists():
        raise Refused(f"There is a cabinet {code} already. Choose another code.", "code")
    return code


def _keep_photo(machine: Machine, jpeg: bytes | None) -> None:
    """Store a cleaned photo under a name nobody can guess; the one before it goes once the change is sure."""
    if jpeg is None:
        return
    storage, before = machine.photo.storage, machine.photo.name
    machine.photo.save(f"{uuid.uuid4().hex}.jpg", ContentFile(jpeg), save=False)
    machine.save(update_fields=["photo"])
    if before:
        transaction.on_commit(lambda: storage.delete(before))
