"""Labels of cabinets: made when first wanted, printed, renewed."""

import io

import pytest
import zxingcpp
from django.db import IntegrityError, transaction
from django.urls import reverse
from PIL import Image

from machines.labels import actions, queries, rules
from machines.models import Label, ReportWindow
from tests.factories import MachineFactory

CODE = "01A156K0ABCDEFGH"


@pytest.fixture
def label(owner, noon):
    return Label.objects.create(machine=MachineFactory(code="C-001"), code=CODE, by=owner, at=noon, received_at=noon)


def test_label_is_made_once(owner, noon):
    machine = MachineFactory()
    made = actions.label_for(machine=machine, by=owner, at=noon)
    assert actions.label_for(machine=machine, by=owner, at=noon) == made
    assert rules.clean_code(made.code) == made.code


def test_labels_of_many_come_in_their_order_with_constant_queries(owner, noon, django_assert_num_queries):
    machines = [MachineFactory() for _ in range(3)]
    actions.label_for(machine=machines[1], by=owner, at=noon)
    with django_assert_num_queries(6):  # savepoint, present ones, lock, present ones again, new ones, release
        labels = actions.labels_for(machines=machines, by=owner, at=noon)
    assert [label.machine for label in labels] == machines


@pytest.mark.parametrize("typed", [CODE, "01a1-56k0-abcd-efgh", "OIA1 56KO ABCD EFGH"])
def test_cabinet_is_found_by_its_code(label, typed):
    assert queries.machine_for_code(typed) == label.machine


@pytest.mark.parametrize("typed", [CODE, "56k0-abcd", "56KO ABCD", "c-001", "zz"])
def test_label_is_found_by_a_part_of_its_code_as_it_is_printed(owner_client, label, typed):
    found = owner_client.get(reverse("labels"), {"q": typed}).context["table"]
    assert list(found.rows) == ([] if typed == "zz" else [label])


@pytest.mark.parametrize("typed", ["", "C-001", CODE[:-1], CODE[:-1] + "J", "\x00", "' OR 1=1 --"])
def test_other_codes_lead_nowhere(label, typed):
    assert queries.machine_for_code(typed) is None


def test_renewed_label_leaves_the_old_code_leading_nowhere(owner_client, label):
    owner_client.post(reverse("label-renew", args=["C-001"]), {"code": CODE})
    new = Label.objects.live().get()
    assert new.code != CODE
    assert queries.machine_for_code(CODE) is None
    assert queries.machine_for_code(new.code) == label.machine


def test_renewing_sent_twice_is_one(owner_client, label):
    for _ in range(2):
        assert owner_client.post(reverse("label-renew", args=["C-001"]), {"code": CODE}).status_code == 302
    assert Label.objects.count() == 2


def test_renewing_the_same_label_from_two_places_makes_one(label, owner, noon):
    made = {actions.renew_label(label=label, by=owner, at=noon) for _ in range(2)}
    assert len(made) == 1


def test_label_page_shows_what_a_person_types(hand_client, label):
    page = hand_client.get(reverse("label", args=["C-001"])).content.decode()
    assert "localhost:8000/m/<br><code>01A1-56K0-ABCD-EFGH</code>" in page


def test_png_leads_to_the_labels_page(hand_client, label):
    answer = hand_client.get(reverse("label-png", args=["C-001"]))
    (found,) = zxingcpp.read_barcodes(Image.open(io.BytesIO(answer.content)))
    assert found.text == f"HTTP://LOCALHOST:8000{reverse('label-page', args=[CODE])}".rstrip("/").upper()
    assert answer["Content-Type"] == "image/png"


def test_svg_says_what_it_is(hand_client, label):
    answer = hand_client.get(reverse("label-svg", args=["C-001"]))
    assert answer["Content-Type"] == "image/svg+xml"
    assert answer.content.startswith(b"<svg")


@pytest.mark.parametrize("name", ["label", "label-png", "label-svg", "label-renew"])
def test_label_of_a_cabinet_that_is_not_there(owner_client, name):
    assert owner_client.get(reverse(name, args=["C-999"])).status_code == 404
    assert Label.objects.count() == 0


def test_database_holds_one_label_in_use_per_cabinet(label, owner, noon):
    with pytest.raises(IntegrityError), transaction.atomic():
        Label.objects.create(machine=label.machine, code="1" * 16, by=owner, at=noon, received_at=noon)


def test_database_holds_each_code_once(label, owner, noon):
    with pytest.raises(IntegrityError), transaction.atomic():
        Label.objects.create(machine=MachineFactory(), code=CODE, by=owner, at=noon, received_at=noon)


def test_database_holds_who_withdrew(label, noon):
    with pytest.raises(IntegrityError, match="machines_label_withdrawn_has_who_and_when"), transaction.atomic():
        Label.objects.update(withdrawn_at=noon)


def test_database_holds_one_window_per_key_and_hour(db, noon):
    ReportWindow.objects.create(key="label:1", hour=noon)
    with pytest.raises(IntegrityError), transaction.atomic():
        ReportWindow.objects.create(key="label:1", hour=noon)
