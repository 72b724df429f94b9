"""Cabinets that stand somewhere already, written down one by one."""

from locations.models import Agreement, Location, Placement
from machines.models import Machine, Reading

SAID = {
    "code": "C-001",
    "location": "Tidewater Diner",
    "host": "",
    "share": "37.5",
    "plays": "1200",
    "model": "Harbour Claw",
    "kind": "claw",
    "price": "1.00",
}


def test_one_form_writes_down_all_that_belongs_to_a_cabinet(owner_client):
    assert owner_client.post("/imports/by-hand/", SAID).status_code == 302

    machine = Machine.objects.get()
    assert (machine.code, machine.model.name, machine.price_cents, machine.status) == (
        "C-001", "Harbour Claw", 100, "placed",
    )  # fmt: skip
    assert Placement.objects.get().location.host.name == "Tidewater Diner"
    assert Agreement.objects.get().terms.get().rate_bp == 3750
    assert Reading.objects.get().value == 1200


def test_the_same_form_twice_is_one(owner_client):
    for _ in range(2):
        owner_client.post("/imports/by-hand/", SAID)

    assert (Machine.objects.count(), Placement.objects.count(), Reading.objects.count()) == (1, 1, 1)


def test_the_next_one_starts_like_the_last(owner_client):
    owner_client.post("/imports/by-hand/", SAID)
    form = owner_client.get("/imports/by-hand/").context["form"]

    assert {name: form[name].value() for name in ("code", "model", "kind", "price", "share")} == {
        "code": "C-002", "model": "Harbour Claw", "kind": "claw", "price": "1.00", "share": "37.5",
    }  # fmt: skip


def test_a_cabinet_that_stands_elsewhere_is_refused_and_nothing_kept(owner_client):
    owner_client.post("/imports/by-hand/", SAID)
    answer = owner_client.post("/imports/by-hand/", {**SAID, "location": "Mill Lane Launderette"})

    assert answer.status_code == 422
    assert "C-001 stands at Tidewater Diner since" in answer.content.decode()
    assert list(Location.objects.values_list("name", flat=True)) == ["Tidewater Diner"]
