"""A delivery that was written down wrongly is put right: the new one takes its place, and both stay readable."""

from datetime import UTC, datetime
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from machines.arrivals import queries
from machines.models import Arrival, ArrivalPhoto, Key, KeyMove, Machine, Part, Receipt
from machines.parts import actions_keys
from machines.parts.queries import copies_of, lies
from tests.machines.arrivals.cast import claimed, door, fields, machines_of, order_of_two, photo, received, send

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 2, 9, tzinfo=UTC)


@pytest.fixture
def order(owner):
    return order_of_two(owner)


@pytest.fixture
def told(hand_client, order):
    """A delivery whose first cabinet was unpacked with a broken glass, two keys and three coils."""
    page = hand_client.get(reverse("arrival-start", args=[order.pk]))
    typed = fields(page, machines_of(order)[0], unpacked="rest", state_Glass="damaged", keys_Cash_box="2")
    spares = {"spare0_name": "Claw coil", "spare0_listed": "3", "spare0_came": "3"}
    send(hand_client, order, door() | typed | spares, photos={uuid4(): (0, photo())})
    return Arrival.objects.get()


def correct(client, told, **changed):
    page = client.get(reverse("arrival-correct", args=[told.uuid]))
    typed = {
        field.html_name: field.value()
        for form in page.context["sheet"].forms
        for field in form
        if field.value() not in (None, "") and field.name != "at"
    }
    changed = fields(page, machines_of(told.order)[0], **changed.pop("cabinet", {})) | changed
    typed |= {"id": str(uuid4()), "reason": "Typed in a hurry", **changed}
    return client.post(reverse("arrival-correct", args=[told.uuid]), typed)


def found(order):
    return [(one.machine and one.machine.code, one.what, one.state) for one in queries.findings_of(order)]


def test_the_page_comes_with_what_was_typed_and_its_save_takes_the_place(hand_client, told):
    answer = correct(hand_client, told, cabinet={"state_Topper": "missing"}, spare0_came="2")

    new = Arrival.objects.live().get()
    assert (answer.status_code, new.replaces, new.reason) == (302, told, "Typed in a hurry")
    assert set(found(told.order)) == {
        ("C-001", "Glass", "damaged"), ("C-001", "Topper", "missing"), (None, "Spare: Claw coil", "missing"),
    }  # fmt: skip
    assert list(lies(Part.objects.get()).values()) == [2]
    lock = machines_of(told.order)[0].locks.get()
    assert [copy.move.held for copy in copies_of([lock])[lock.pk]] == ["safe", "safe"]
    assert (Receipt.objects.live().get().came, ArrivalPhoto.objects.get().arrival) == (2, new)
    assert [one.status for one in machines_of(told.order)] == ["arrived", "arrived"]


def test_a_cabinet_that_was_not_unpacked_after_all_is_offered_again(hand_client, told):
    correct(hand_client, told, cabinet={"unpacked": "", "state_Glass": "", "keys_Cash_box": ""})
    assert [one.code for one in queries.to_unpack(told.order)] == ["C-001", "C-002"]
    assert KeyMove.objects.live().count() == 0


def test_keys_given_out_meanwhile_are_counted_once(hand_client, told, route_hand, owner):
    key = Key.objects.first()
    actions_keys.hand_over(uuid=uuid4(), key=key, held="person", person=route_hand, by=owner, at=told.received_at)
    correct(hand_client, told, cabinet={"keys_Cash_box": "3"})
    lock = machines_of(told.order)[0].locks.get()
    assert sorted(copy.move.held for copy in copies_of([lock])[lock.pk]) == ["person", "safe", "safe"]


def test_both_versions_stay_readable_and_the_old_address_leads_to_the_new(hand_client, told):
    correct(hand_client, told)
    new = Arrival.objects.live().get()
    page = hand_client.get(reverse("arrival", args=[told.uuid]), follow=True)
    assert page.redirect_chain == [(reverse("arrival", args=[new.uuid]), 302)]
    assert [(one.pk, one.withdrawn_at is None) for one in page.context["told"]] == [(new.pk, True), (told.pk, False)]


def test_what_was_unpacked_later_goes_on_with_the_corrected_delivery(hand_client, told):
    page = hand_client.get(reverse("arrival-unpack", args=[told.uuid]))
    typed = fields(page, machines_of(told.order)[1], unpacked="rest")
    hand_client.post(reverse("arrival-unpack", args=[told.uuid]), {"id": str(uuid4()), **typed})
    correct(hand_client, told)
    later = Arrival.objects.get(follows__isnull=False)
    assert later.follows == Arrival.objects.live().get(follows=None)
    assert hand_client.get(reverse("arrival", args=[later.uuid]), follow=True).status_code == 200


def test_one_with_a_claim_stays_as_it_is(hand_client, order, owner):
    told = received(order, owner, NOW)
    claimed(told, owner, NOW)
    answer = correct(hand_client, told, **door(), cabinet={"unpacked": "rest"})
    assert (answer.status_code, Arrival.objects.live().get()) == (422, told)
    assert "A claim rests on what was found here" in answer.content.decode()


def test_a_correction_sent_twice_by_a_phone_is_one_and_a_second_person_is_told(hand_client, client, owner, told):
    said = {"typed": {**door(), "reason": "Wrong order"}, "uuid": uuid4(), "replaces": str(told.uuid)}
    answers = [send(hand_client, told.order, **said).status_code for _ in "ab"]
    client.force_login(owner)
    late = send(client, told.order, {**door(), "reason": "Mine"}, replaces=str(told.uuid))
    assert (answers, late.status_code, Arrival.objects.live().count()) == ([201, 200], 422, 1)
    assert late.json()["errors"][""].startswith("This delivery was corrected meanwhile.")


def test_a_correction_posted_twice_is_one(hand_client, told):
    to, typed = reverse("arrival-correct", args=[told.uuid]), {**door(), "id": str(uuid4()), "reason": "Wrong order"}
    answers = [hand_client.post(to, typed) for _ in "ab"]
    new = Arrival.objects.live().get()
    assert [answer.headers.get("Location") for answer in answers] == [reverse("arrival", args=[new.uuid])] * 2
    assert hand_client.get(to)["Location"] == reverse("arrival", args=[told.uuid])


def test_a_delivery_whose_fields_were_not_kept_stays_as_it_is(hand_client, told):
    Arrival.objects.update(typed={})
    to, page = (reverse(name, args=[told.uuid]) for name in ("arrival-correct", "arrival"))
    assert "Put it right" not in hand_client.get(page).content.decode()
    assert hand_client.get(to)["Location"] == page
    answer = hand_client.post(to, {**door(), "id": str(uuid4()), "reason": "Typed in a hurry"})
    assert (answer.status_code, Arrival.objects.get(), len(found(told.order))) == (422, told, 2)


def test_a_correction_without_a_reason_is_asked_for_it(hand_client, told):
    answer = correct(hand_client, told, reason="")
    assert (answer.status_code, Arrival.objects.live().get()) == (422, told)


def test_a_correction_has_a_reason(told):
    with pytest.raises(IntegrityError, match="arrival_correction_has_a_reason"), transaction.atomic():
        Arrival.objects.filter(pk=told.pk).update(replaces=told)


def test_a_photo_of_one_line_stays_with_it(hand_client, order):
    page = hand_client.get(reverse("arrival-start", args=[order.pk]))
    one = machines_of(order)[0]
    name = next(iter(fields(page, one, photo_Glass="")))
    typed = door() | fields(page, one, unpacked="rest", state_Glass="damaged")
    send(hand_client, order, typed, photos={uuid4(): (name, photo())})
    looked = next(each for each in queries.looked_at(order) if each.machine)
    assert [(str(finding), [each.what for each in photos]) for finding, photos in looked.not_fine] == [
        (f"{one}: Glass", ["Glass"])
    ]
    assert (looked.other_photos, Machine.objects.get(pk=one.pk).status) == ([], "arrived")
