"""What is prepared answers like the queryset it was made from, on both engines."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.db.models import F

from machines.cabinets.models import Machine, Reading
from routeapp.kit.prepared import MOST_ROWS, Many, Prepared, insert, insert_again, insert_plain, row, update
from routeapp.visits.models import ServiceEntry, Visit
from tests import factories

pytestmark = pytest.mark.django_db

by_code = Prepared(
    lambda ids, price: Machine.objects.filter(pk__in=ids, price_cents__gte=price).order_by("-code"), list, int
)
moments = Prepared(
    lambda at: Reading.objects.filter(at__lt=at).order_by("at").values_list("value", "source")[:2], object
)


def reading(meter, person, noon, number):
    facts = {"at": noon + timedelta(hours=number), "received_at": noon, "source": UUID(int=number)}
    return Reading(meter=meter, value=number, by_id=person.pk, **facts)


def test_prepared_gives_models_for_each_set_of_values():
    a, b, c = (
        factories.MachineFactory(code=code, price_cents=price) for code, price in [("A", 50), ("B", 100), ("C", 200)]
    )

    assert by_code([a.pk, b.pk, c.pk], 100) == [c, b]
    assert by_code([a.pk], 0) == [a]
    assert by_code([a.pk], 0)[0].price_cents == 50


def test_row_is_what_the_model_makes_itself(noon):
    machine = factories.MachineFactory()
    said = {"uuid": UUID(int=1), "machine": machine, "at": noon, "visit_id": UUID(int=2)}
    quick, plain = row(ServiceEntry, **said), ServiceEntry(**said)

    assert {**vars(quick), "_state": None} == {**vars(plain), "_state": None}
    assert quick.machine is machine
    assert row(ServiceEntry).lines is not row(ServiceEntry).lines


def test_row_has_only_columns_of_its_model():
    with pytest.raises(TypeError, match="ServiceEntry has no cent"):
        row(ServiceEntry, cent=5)


def test_prepared_finds_nothing_in_an_empty_list():
    factories.MachineFactory()

    assert by_code([], 0) == []


def test_prepared_row_can_be_saved_like_any_other():
    machine = factories.MachineFactory()

    found = by_code([machine.pk], 0)[0]
    found.serial = "S-1"
    found.save(update_fields=["serial"])

    assert Machine.objects.get().serial == "S-1"


def test_prepared_values_come_with_pythons_types(owner, noon):
    meter = factories.MeterFactory()
    insert([reading(meter, owner, noon, number) for number in (1, 2, 3)])

    assert moments(noon + timedelta(hours=3)) == [[1, UUID(int=1)], [2, UUID(int=2)]]
    assert moments(noon) == []


def test_insert_keeps_every_field_and_gives_numbers(owner, noon):
    meter = factories.MeterFactory()
    rows = [reading(meter, owner, noon, number) for number in range(MOST_ROWS + 2)]

    insert(rows)

    kept = list(Reading.objects.order_by("pk"))
    assert [row.pk for row in rows] == [row.pk for row in kept]
    fields = [field.attname for field in Reading._meta.concrete_fields]
    assert [[getattr(row, name) for name in fields] for row in rows] == [
        [getattr(row, name) for name in fields] for row in kept
    ]


def test_insert_keeps_json_and_a_given_key(owner, noon):
    location = factories.LocationFactory()
    facts = {
        "at": noon,
        "received_at": noon,
        "departed_at": noon,
        "fingerprint": "f",
        "by_id": owner.pk,
        "made_by_id": owner.pk,
    }

    insert([Visit(uuid=UUID(int=7), location_id=location.pk, document={"note": "é 1"}, **facts)])

    assert Visit.objects.get(pk=UUID(int=7)).document == {"note": "é 1"}


def test_plain_rows_take_defaults_for_what_they_leave_out(owner, noon):
    meter = factories.MeterFactory()
    facts = {"meter_id": meter.pk, "by_id": owner.pk, "at": noon, "received_at": noon}

    insert_plain(Reading, [{**facts, "value": 5}, {**facts, "value": 7, "kind": "baseline"}])

    rows = Reading.objects.order_by("value").values_list("value", "kind", "source")
    assert list(rows) == [(5, Reading().kind, None), (7, "baseline", None)]


def test_many_values_find_as_a_list_does():
    a, b, _ = (factories.MachineFactory() for _ in range(3))

    assert set(Machine.objects.filter(pk__in=Many([a.pk, b.pk]))) == {a, b}
    assert list(Machine.objects.filter(pk__in=Many([]))) == []


def test_insert_of_nothing_asks_nothing(django_assert_num_queries):
    with django_assert_num_queries(0):
        insert([])
        insert_plain(Reading, [])
        update([], "serial")


def test_update_writes_the_named_fields_alone():
    a, b = factories.MachineFactory(serial="old"), factories.MachineFactory(serial="old")
    a.serial, a.price_cents, b.serial = "S-1", 999, "S-2"

    update([a, b], "serial")

    assert list(Machine.objects.order_by("pk").values_list("serial", flat=True)) == ["S-1", "S-2"]
    assert 999 not in Machine.objects.values_list("price_cents", flat=True)


def test_rows_are_inserted_again_with_what_changed(owner, noon):
    meter, later = factories.MeterFactory(), noon + timedelta(days=1)
    insert([reading(meter, owner, noon, number) for number in (1, 2)])

    insert_again(Reading.objects.filter(value=2), value=F("value") + 5, received_at=later)

    assert list(Reading.objects.order_by("pk").values_list("value", "source", "received_at")) == [
        (1, UUID(int=1), noon), (2, UUID(int=2), noon), (7, UUID(int=2), later),
    ]  # fmt: skip
