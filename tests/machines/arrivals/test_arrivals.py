"""At the door and at unpacking, from the page and from a phone: the same document, the same forms."""

import json
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from machines.arrivals import queries
from machines.models import Arrival, ArrivalPhoto, Finding, Machine, Milestone, Part, Receipt
from machines.parts.queries import copies_of, lies
from tests.machines.arrivals.cast import door, fields, machines_of, order_of_two, photo, send
from tests.machines.counting import queries_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def order(owner):
    return order_of_two(owner)


@pytest.fixture
def page(hand_client, order):
    return hand_client.get(reverse("arrival-start", args=[order.pk]))


def post(client, order, typed, **files):
    return client.post(reverse("arrival-start", args=[order.pk]), {"id": str(uuid4()), **typed, **files})


def found(order):
    return [(one.machine and one.machine.code, one.what, one.state, one.pieces) for one in queries.findings_of(order)]


def test_what_is_not_marked_is_fine_and_the_cabinets_have_arrived(hand_client, order, page):
    one, two = machines_of(order)
    glass = fields(page, one, unpacked="rest", state_Glass="damaged", note_Glass="cracked", serial="GM-1")
    post(hand_client, order, door() | glass | fields(page, two, unpacked="rest"))
    assert found(order) == [
        ("C-001", "Glass", "damaged", 1), ("C-001", "Topper", "fine", 1),
        ("C-002", "Glass", "fine", 1), ("C-002", "Topper", "fine", 1),
    ]  # fmt: skip
    assert [(one.status, one.serial) for one in machines_of(order)] == [("arrived", "GM-1"), ("arrived", "")]
    receipt = Receipt.objects.live().get()
    assert (receipt.came, receipt.damaged, Milestone.objects.live().filter(step="delivered").count()) == (2, 1, 1)


def test_a_phone_that_sends_the_same_twice_has_sent_it_once(hand_client, order, page):
    one, _ = machines_of(order)
    said = {"typed": door() | fields(page, one, unpacked="rest"), "uuid": uuid4()}
    first, second = (send(hand_client, order, **said) for _ in "ab")
    assert (first.status_code, second.status_code, first.json()) == (201, 200, second.json())
    assert (Arrival.objects.count(), Finding.objects.count()) == (1, 2)


def test_another_delivery_under_the_same_id_is_a_clash(hand_client, order):
    uuid = uuid4()
    send(hand_client, order, door(), uuid=uuid)
    clash = send(hand_client, order, door(came="1", receipt_words="1 of 2"), uuid=uuid)
    assert (clash.status_code, Arrival.objects.get().came) == (409, 2)


def test_a_phone_is_told_by_the_name_of_the_field_what_is_wrong(hand_client, order, page):
    one, _ = machines_of(order)
    typed = door(came="1") | fields(page, one, unpacked="rest", state_Topper="fixed")
    answer = send(hand_client, order, typed)
    note = next(iter(fields(page, one, note_Topper="")))
    assert (answer.status_code, answer.json()["errors"]) == (
        422,
        {"receipt_words": "Write down what is wrong, as it stands on the receipt.", note: "Say how it was fixed."},
    )


def test_photos_stay_with_their_cabinet(hand_client, order, page):
    one, _ = machines_of(order)
    photos = {uuid4(): (0, photo()), uuid4(): (one.pk, photo())}
    send(hand_client, order, door() | fields(page, one, unpacked="rest"), photos=photos)
    assert {item.pk: item.machine_id for item in ArrivalPhoto.objects.all()} == {
        name: machine or None for name, (machine, _) in photos.items()
    }
    assert hand_client.get(reverse("arrival-photo", args=[list(photos)[0]]))["Content-Type"] == "image/jpeg"


def test_the_page_keeps_photos_too(hand_client, order, page):
    one, _ = machines_of(order)
    typed = door() | fields(page, one, unpacked="rest")
    post(hand_client, order, typed, **{"photos": [photo(), photo()], f"c{one.pk}-photos": [photo()]})
    assert sorted(item.machine_id or 0 for item in ArrivalPhoto.objects.all()) == [0, 0, one.pk]


def test_it_happened_when_the_phone_saved_it_and_a_wrong_clock_is_put_right(hand_client, order):
    saved = datetime(2026, 6, 1, 12, tzinfo=UTC)
    device = saved + timedelta(minutes=30)  # half an hour later it is sent; the server's clock says another year
    document = {"id": str(uuid4()), "order": order.pk, "saved_at": saved.isoformat(), "fields": door()}
    hand_client.post(reverse("sync-arrivals"), {"document": json.dumps(document), "device_time": device.isoformat()})
    arrival = Arrival.objects.get()
    off = arrival.received_at - timedelta(minutes=30) - arrival.at
    assert abs(off) < timedelta(seconds=1)


@pytest.mark.parametrize(
    "clock",
    ["", "noon", "2026-06-01T12:00:00", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59-12:00", "2999-01-01T00:00Z"],
)
def test_a_clock_that_tells_nothing_is_no_reason_to_lose_a_delivery(hand_client, order, clock):
    saved = datetime(2026, 6, 1, 12, tzinfo=UTC)
    document = {"id": str(uuid4()), "order": order.pk, "saved_at": saved.isoformat(), "fields": door()}
    answer = hand_client.post(reverse("sync-arrivals"), {"document": json.dumps(document), "device_time": clock})

    assert (answer.status_code, Arrival.objects.get().at) == (201, saved)


def test_missing_pieces_are_a_finding(hand_client, order):
    send(hand_client, order, door(listed="3", receipt_words="2 of 3 pieces received"))
    assert found(order) == [(None, "Pieces on the delivery receipt", "missing", 1)]


def test_what_is_sent_back_leaves_the_order_under_way(hand_client, order):
    send(hand_client, order, door(outside="refused", receipt_words="Crates soaked, refused"))
    assert (Receipt.objects.count(), [one.status for one in machines_of(order)]) == (0, ["ordered", "ordered"])
    assert list(queries.expected_orders()) == [order]


def test_keys_are_counted_by_lock_and_none_at_all_is_missing(hand_client, order, page):
    one, two = machines_of(order)
    typed = fields(page, one, unpacked="rest", keys_Cash_box="2") | fields(
        page, two, unpacked="rest", keys_Cash_box="0"
    )
    send(hand_client, order, door() | typed)
    lock = one.locks.get()
    assert [copy.move.held for copy in copies_of([lock])[lock.pk]] == ["safe", "safe"]
    assert ("C-002", "Keys: Cash box", "missing", 1) in found(order)


def test_spares_are_taken_in_and_those_that_lack_are_missing(hand_client, order):
    spares = {"spare0_name": "Claw coil", "spare0_listed": "3", "spare0_came": "2"}
    send(hand_client, order, door() | spares)
    part = Part.objects.get()
    assert (part.name, list(lies(part).values()), found(order)) == (
        "Claw coil",
        [2],
        [(None, "Spare: Claw coil", "missing", 1)],
    )


def test_what_is_unpacked_later_follows_and_is_offered_no_more(hand_client, order):
    send(hand_client, order, door())
    arrival = Arrival.objects.get()
    address = reverse("arrival-unpack", args=[arrival.uuid])
    later = hand_client.get(address)
    one, two = machines_of(order)
    hand_client.post(address, {"id": str(uuid4()), **fields(later, one, unpacked="rest", state_Glass="missing")})
    assert [form.machine for form in hand_client.get(address).context["sheet"].cabinets] == [two]
    assert (Receipt.objects.live().get().damaged, queries.arrivals().get().wrong) == (1, 1)


def test_nothing_entered_is_no_delivery(hand_client, order):
    send(hand_client, order, door())
    answer = hand_client.post(reverse("arrival-unpack", args=[Arrival.objects.get().uuid]), {"id": str(uuid4())})
    assert answer.context["sheet"].rest.non_field_errors() == [
        "Nothing is entered yet. Tick a cabinet that was unpacked."
    ]


@pytest.mark.parametrize(
    "document",
    [
        "",
        "[]",
        "{",
        "null",
        '{"id": 3}',
        json.dumps({"id": str(UUID(int=9)), "saved_at": "0001-01-01T00:00Z", "fields": {}}),
    ],
)
def test_a_document_that_is_none_is_refused_with_words(hand_client, document):
    answer = hand_client.post(reverse("sync-arrivals"), {"document": document})
    assert (answer.status_code, bool(answer.json()["errors"])) == (422, True)


def test_a_file_that_is_no_photo_is_refused_and_nothing_is_written(hand_client, order):
    from django.core.files.uploadedfile import SimpleUploadedFile

    answer = post(hand_client, order, door(), photos=SimpleUploadedFile("notes.txt", b"plain"))
    assert (answer.status_code, Arrival.objects.count()) == (422, 0)


def test_the_pages_ask_as_often_for_three_as_for_one(hand_client, owner):
    first = order_of_two(owner)
    send(hand_client, first, door())
    one = queries_of(hand_client, reverse("arrivals"))
    for _ in range(2):
        send(hand_client, order_of_two(owner), door())
    assert queries_of(hand_client, reverse("arrivals")) == one


def test_the_database_refuses(hand_client, order, owner, noon):
    send(hand_client, order, door())
    facts = {"order": order, "by": owner, "at": noon, "received_at": noon, "uuid": uuid4()}
    with pytest.raises(IntegrityError, match="arrival_is_at_the_door_or_follows"), transaction.atomic():
        Arrival.objects.create(**facts)
    with pytest.raises(IntegrityError, match="finding_above_zero"), transaction.atomic():
        Arrival.objects.get().findings.create(what="Glass", state="fine", pieces=0, by=owner, at=noon, received_at=noon)
    assert Machine.objects.count() == 2


def test_page_to_take_along_is_that_of_the_door_and_later_that_of_unpacking(hand_client, order):
    before = hand_client.get(reverse("sync-delivery", args=[order.pk])).json()["delivery"]
    send(hand_client, order, door())
    after = hand_client.get(reverse("sync-delivery", args=[order.pk])).json()["delivery"]

    arrival = Arrival.objects.get()
    assert (before["path"], before["name"]) == (
        reverse("arrival-start", args=[order.pk]),
        f"At the door: {order} {order.supplier}",
    )
    assert (after["path"], "Pieces on the delivery receipt" in after["form"]) == (
        reverse("arrival-unpack", args=[arrival.uuid]),
        False,
    )
