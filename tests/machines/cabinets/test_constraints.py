"""What the database itself holds about cabinets: one test for each rule."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from machines.models import CabinetModel, Reading, SettingsChange, StatusChange
from tests.factories import LONG_AGO, CabinetModelFactory, MachineFactory, MeterFactory


@pytest.fixture
def fact(owner):
    return {"by": owner, "at": LONG_AGO, "received_at": LONG_AGO}


def breaks(rule=None):
    return pytest.raises(IntegrityError, match=rule)


def test_model_name_is_given_once(db):
    CabinetModelFactory()
    with breaks():
        CabinetModel.objects.create(name="Harbour Claw", kind="claw", price_cents=100)


def test_cabinet_code_is_given_once(db):
    MachineFactory(code="C-7")
    with breaks():
        MachineFactory(code="C-7")


def test_price_is_above_zero(db):
    with breaks("machine_price_above_zero"):
        MachineFactory(price_cents=0)


def test_cabinet_has_one_meter_of_each_sort_in_use(db):
    old = MeterFactory(removed_at=LONG_AGO)
    MeterFactory(machine=old.machine)
    with breaks():
        MeterFactory(machine=old.machine)


@pytest.mark.parametrize("digits", [2, 10])
def test_meter_has_3_to_9_digits(db, digits):
    with breaks("meter_digits_3_to_9"):
        MeterFactory(digits=digits)


def test_meter_is_removed_after_it_was_installed(db):
    with breaks("meter_removed_after_installed"):
        MeterFactory(removed_at=LONG_AGO - timedelta(days=1))


def test_meter_is_replaced_by_one(db):
    old = MeterFactory(removed_at=LONG_AGO)
    MeterFactory(machine=old.machine, replaces=old)
    with breaks():
        MeterFactory(machine=old.machine, counts="prizes_out", replaces=old)


def test_settings_change_says_something(db, fact):
    with breaks("settings_change_says_something"):
        SettingsChange.objects.create(machine=MachineFactory(), **fact)


def test_grip_is_a_percentage(db, fact):
    with breaks("settings_grip_at_most_100"):
        SettingsChange.objects.create(machine=MachineFactory(), grip_strength=101, **fact)


def test_what_is_withdrawn_says_by_whom(db, fact):
    machine = MachineFactory()
    meter = MeterFactory(machine=machine)
    facts = [
        (StatusChange, {"machine": machine, "status": "ready"}),
        (SettingsChange, {"machine": machine, "grip_strength": 40}),
        (Reading, {"meter": meter, "value": 5}),
    ]
    for model, said in facts:
        name = f"machines_{model._meta.model_name}_withdrawn_has_who_and_when"
        with breaks(name), transaction.atomic():
            model.objects.create(**said, **fact, withdrawn_at=LONG_AGO)
