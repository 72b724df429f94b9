"""Adding, finding and changing cabinets and their models, through their pages."""

import io
from functools import partial

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import ExifTags, Image

from machines.cabinets.actions import add_model, change_model
from machines.models import CabinetModel, Machine, Meter, Reading
from routeapp.kit.errors import Refused
from tests.factories import CabinetModelFactory, MachineFactory
from tests.machines.counting import queries_of


def picture(kind="PNG", size=(40, 30), **saving):
    out = io.BytesIO()
    Image.new("RGB", size, "teal").save(out, kind, **saving)
    return SimpleUploadedFile(f"photo.{kind.lower()}", out.getvalue())


def filled_in(**changed):
    return {"code": "C-001", "price_cents": "1.00", "status": "ready", **changed}


def codes(response):
    return [machine.code for machine in response.context["table"].rows]


@pytest.fixture
def several(db):
    capsule = CabinetModelFactory(name="Pebble Twin", kind="capsule")
    MachineFactory(code="C-001", status="placed", serial="HX-88")
    MachineFactory(code="C-002", status="ready", model=capsule)
    MachineFactory(code="C-003", status="out_of_order")
    MachineFactory(code="C-004", status="sold")


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, ["C-001", "C-002", "C-003"]),
        ({"status": "placed"}, ["C-001"]),
        ({"status": "sold"}, ["C-004"]),
        ({"kind": "capsule"}, ["C-002"]),
        ({"q": "hx-88"}, ["C-001"]),
        ({"q": "pebble 002"}, ["C-002"]),
        ({"q": "pebble", "kind": "claw"}, []),
        ({"status": "nonsense", "kind": "x"}, ["C-001", "C-002", "C-003"]),
        ({"q": "a\x00b"}, ["C-001", "C-003"]),
        ({"q": "%_' OR 1=1"}, []),
        ({"q": "x" * 5000}, []),
        ({"page": "999"}, ["C-001", "C-002", "C-003"]),
        ({"page": "-1"}, ["C-001", "C-002", "C-003"]),
    ],
)
def test_list_is_filtered(owner_client, several, asked, found):
    assert codes(owner_client.get(reverse("cabinets"), asked)) == found


def test_list_says_how_many_we_own(owner_client, several):
    context = owner_client.get(reverse("cabinets")).context
    assert context["owned"] == 3
    assert context["counts"] == [("Ready", 1), ("Placed", 1), ("Out of order", 1)]


def test_list_answers_htmx_with_the_rows_only(owner_client, several):
    answer = owner_client.get(reverse("cabinets"), {"q": "C-001"}, headers={"HX-Request": "true"}).content.decode()
    assert answer.strip().startswith('<section class="sheet" id="rows"')


def test_empty_list_offers_the_first_step(owner_client):
    answer = owner_client.get(reverse("cabinets")).content.decode()
    assert reverse("model-add") in answer


@pytest.mark.parametrize("name", ["cabinets", "models"])
def test_lists_ask_the_database_no_more_for_3_than_for_1(owner_client, name):
    MachineFactory()
    one = queries_of(owner_client, reverse(name))
    for number in (2, 3):
        MachineFactory(model=CabinetModelFactory(name=f"Model {number}"))
    assert queries_of(owner_client, reverse(name)) == one


def test_add_suggests_the_next_code_and_what_the_last_one_was(owner_client):
    MachineFactory(code="K-09", price_cents=50)
    initial = owner_client.get(reverse("cabinet-add")).context["form"].initial
    assert initial == {"code": "K-10", "model": Machine.objects.get().model_id, "price_cents": 50}


def test_first_model_leads_to_its_first_cabinet_at_the_usual_price(owner_client):
    to_model = reverse("model-add")
    assert to_model in owner_client.get(reverse("cabinet-add")).content.decode()
    added = owner_client.post(to_model, {"name": "Harbour Claw", "kind": "claw", "price_cents": "1"})
    assert added.headers["Location"] == reverse("cabinet-add")
    model = CabinetModel.objects.get()
    assert owner_client.get(reverse("cabinet-add")).context["form"].initial == {"code": "C-001", "model": model}
    owner_client.post(reverse("cabinet-add"), filled_in(model=model.pk, price_cents=""))
    assert Machine.objects.get().price_cents == 100


def test_add_with_meters_is_one_step(owner_client, owner):
    model = CabinetModelFactory()
    meters = {
        "plays-fitted": "on",
        "plays-digits": "5",
        "plays-opening": "00123",
        "money_in-fitted": "on",
        "money_in-digits": "6",
        "money_in-opening": "7",
        "money_in-value_cents": "0.25",
        "money_in-counts_tests": "on",
        "prizes_out-digits": "not asked, so not read",
    }
    response = owner_client.post(reverse("cabinet-add"), filled_in(code="c 1", model=model.pk, **meters))
    assert response.url == reverse("cabinet", args=["C-1"])
    machine = Machine.objects.get()
    assert (machine.code, machine.price_cents, machine.status) == ("C-1", 100, "ready")
    assert [change.status for change in machine.status_changes.all()] == ["ready"]
    fitted = Meter.objects.order_by("counts").values_list("counts", "digits", "value_cents", "counts_tests")
    assert list(fitted) == [("money_in", 6, 25, True), ("plays", 5, 100, False)]
    opening = Reading.objects.order_by("meter__counts").values_list("value", "kind", "by")
    assert list(opening) == [(7, "baseline", owner.pk), (123, "baseline", owner.pk)]


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"code": ""}, "code"),
        ({"code": "C/1"}, "code"),
        ({"code": "C\x001"}, "code"),
        ({"code": "taken"}, "code"),
        ({"model": ""}, "model"),
        ({"model": "99999999999999999999"}, "model"),
        ({"model": "x"}, "model"),
        ({"price_cents": "0"}, "price_cents"),
        ({"price_cents": "-1"}, "price_cents"),
        ({"price_cents": "1e9"}, "price_cents"),
        ({"price_cents": "99999999999999"}, "price_cents"),
        ({"status": "flying"}, "status"),
        ({"serial": "x" * 61}, "serial"),
        ({"notes": "a\x00b"}, "notes"),
    ],
)
def test_add_says_what_is_wrong_and_keeps_the_rest(owner_client, changed, field):
    taken = MachineFactory(code="TAKEN")
    response = owner_client.post(reverse("cabinet-add"), filled_in(model=taken.model_id) | changed)
    assert response.status_code == 422
    assert list(response.context["form"].errors) == [field]
    assert Machine.objects.count() == 1


@pytest.mark.parametrize(
    "broken",
    [
        {"digits": "2"},
        {"digits": "10"},
        {"digits": ""},
        {"opening": "-1"},
        {"opening": ""},
        {"opening": "9" * 30},
        {"opening": "1000"},
        {"value_cents": ""},
        {"value_cents": "0"},
    ],
)
def test_add_with_a_broken_meter_adds_nothing(owner_client, broken):
    meter = {"fitted": "on", "digits": "3", "opening": "0", "value_cents": "1"} | broken
    named = {f"money_in-{name}": value for name, value in meter.items()}
    response = owner_client.post(reverse("cabinet-add"), filled_in(model=CabinetModelFactory().pk, **named))
    assert response.status_code == 422
    assert Machine.objects.count() == 0


def test_add_sent_twice_adds_one(owner_client):
    sent = filled_in(model=CabinetModelFactory().pk)
    statuses = [owner_client.post(reverse("cabinet-add"), sent).status_code for _ in range(2)]
    assert statuses == [302, 422]
    assert Machine.objects.count() == 1


def test_edit_changes_what_was_written(owner_client):
    machine = MachineFactory(code="C-001")
    other = CabinetModelFactory(name="Other")
    sent = {"code": "c-9", "model": other.pk, "serial": "S1", "notes": "by the door"}
    owner_client.post(reverse("cabinet-edit", args=["C-001"]), sent)
    machine.refresh_from_db()
    assert (machine.code, machine.model, machine.serial, machine.notes) == ("C-9", other, "S1", "by the door")


def test_edit_refuses_another_cabinets_code(owner_client):
    MachineFactory(code="C-001")
    taken = MachineFactory(code="C-002")
    response = owner_client.post(reverse("cabinet-edit", args=["C-001"]), {"code": "C-002", "model": taken.model_id})
    assert response.context["form"].errors == {"code": ["There is a cabinet C-002 already. Choose another code."]}


def test_photo_is_kept_as_a_fresh_jpeg_and_served_to_our_people(owner_client, client):
    said = Image.Exif()
    said[ExifTags.Base.Make] = "A phone"
    sent = filled_in(model=CabinetModelFactory().pk, photo=picture("JPEG", exif=said))
    owner_client.post(reverse("cabinet-add"), sent)
    served = owner_client.get(reverse("cabinet-photo", args=["C-001"]))
    kept = Image.open(io.BytesIO(b"".join(served.streaming_content)))
    assert (kept.format, kept.size, dict(kept.getexif())) == ("JPEG", (40, 30), {})
    assert served["Content-Type"] == "image/jpeg"
    assert served["X-Content-Type-Options"] == "nosniff"
    again = owner_client.get(reverse("cabinet-photo", args=["C-001"]), headers={"If-None-Match": served["ETag"]})
    assert again.status_code == 304
    client.logout()
    assert client.get(reverse("cabinet-photo", args=["C-001"])).status_code == 302


def test_new_photo_takes_the_place_of_the_old(owner_client, django_capture_on_commit_callbacks):
    owner_client.post(reverse("cabinet-add"), filled_in(model=CabinetModelFactory().pk, photo=picture()))
    before = Machine.objects.get().photo
    sent = {"code": "C-001", "model": Machine.objects.get().model_id, "photo": picture("WEBP")}
    with django_capture_on_commit_callbacks(execute=True):
        owner_client.post(reverse("cabinet-edit", args=["C-001"]), sent)
    assert Machine.objects.get().photo.name != before.name
    assert not before.storage.exists(before.name)


@pytest.mark.parametrize(
    "content", [b"", b"%PDF-1.4 not a picture", b"GIF89a\x01\x00\x01\x00", b"\xff\xd8\xff" + b"\0" * 99]
)
def test_file_that_is_no_photo_is_refused(owner_client, content):
    sent = filled_in(model=CabinetModelFactory().pk, photo=SimpleUploadedFile("photo.jpg", content))
    response = owner_client.post(reverse("cabinet-add"), sent)
    assert list(response.context["form"].errors) == ["photo"]
    assert Machine.objects.count() == 0


def test_cabinet_without_photo_has_no_picture(owner_client):
    machine = MachineFactory()
    assert owner_client.get(reverse("cabinet-photo", args=[machine.code])).status_code == 404


def test_model_is_added_and_changed(owner_client):
    sent = {"name": "Harbour Claw", "kind": "claw", "price_cents": "1", "checks": "Glass\n\n Claw ", "width_mm": "800"}
    owner_client.post(reverse("model-add"), sent)
    model = CabinetModel.objects.get()
    assert (model.price_cents, model.width_mm, model.check_list()) == (100, 800, ["Glass", "Claw"])
    owner_client.post(reverse("model-edit", args=[model.pk]), sent | {"kind": "pusher", "width_mm": ""})
    model.refresh_from_db()
    assert (model.kind, model.width_mm) == ("pusher", None)


@pytest.mark.parametrize(
    "changed", [{"name": ""}, {"name": "Taken"}, {"kind": "boat"}, {"price_cents": "0"}, {"watts": "9" * 25}]
)
def test_model_that_makes_no_sense_is_refused(owner_client, changed):
    CabinetModelFactory(name="Taken")
    sent = {"name": "New", "kind": "claw", "price_cents": "1"} | changed
    response = owner_client.post(reverse("model-add"), sent)
    assert response.status_code == 422
    assert list(response.context["form"].errors) == list(changed)


def test_model_whose_name_was_taken_since_its_form_was_checked_is_refused(owner, noon):
    other = CabinetModelFactory(name="Other")
    said = {"name": "Taken", "kind": "claw", "price_cents": 100, "by": owner, "at": noon}
    add_model(**said)
    for action in (add_model, partial(change_model, model=other)):
        with pytest.raises(Refused, match="a model Taken already"):
            action(**said)


@pytest.mark.parametrize("pk", ["9" * 25, "0"])
def test_model_that_is_not_there(owner_client, pk):
    assert owner_client.get(f"/models/{pk}/").status_code == 404
