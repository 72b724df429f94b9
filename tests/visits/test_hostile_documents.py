"""Documents no form makes: they are refused with words, and what is taken in can be read again."""

import pytest
from django.test import Client
from django.urls import reverse

from routeapp.models import HostPayment, Photo, Visit
from routeapp.visits import rules_document
from tests.visits.books import document, entry, make_world, some_id
from tests.visits.test_sync import picture, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


@pytest.mark.parametrize("field", ["arrived_at", "departed_at"])
@pytest.mark.parametrize("moment", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00"])
def test_moment_at_the_edge_of_the_calendar_answers_422(world, hand_client, field, moment):
    raw = document(world, "a", entries=[entry(world, "a", reading=150)])

    assert send(hand_client, {**raw, field: moment}).status_code == 422


def test_entry_of_another_visit_answers_422(world, hand_client):
    first = document(world, "a", entries=[entry(world, "a", reading=150)])
    send(hand_client, first)
    second = document(world, "b", days=1, entries=[{**entry(world, "b", reading=160), "id": first["entries"][0]["id"]}])

    assert send(hand_client, second).json()["errors"] == {
        "entries": "Something in this visit has an id that another visit uses. Enter this visit anew."
    }


def test_photo_of_another_visit_answers_422(world, hand_client):
    photo = some_id("photo")
    send(hand_client, document(world, "a", entries=[entry(world, "a", photos=[photo])]), **{photo: picture()})

    answer = send(hand_client, document(world, "b", entries=[entry(world, "b", photos=[photo])]), **{photo: picture()})

    assert (answer.status_code, [*answer.json()["errors"]]) == (422, ["photos"])
    assert Photo.objects.count() == 1


def test_pictures_whose_files_are_gone_are_not_found(world, hand_client):
    photo, drawn = some_id("photo"), some_id("drawn")
    paid = {"cents": 100, "received_by": "Mika", "signature": drawn}
    raw = document(world, "a", entries=[entry(world, "a", cents=500, photos=[photo])], host_payment=paid)
    send(hand_client, raw, **{photo: picture(), drawn: picture()})
    addresses = [reverse("photo", args=[photo]), reverse("visit-signature", args=[raw["id"]])]
    assert [hand_client.get(each).status_code for each in addresses] == [200, 200]
    for kept in (Photo.objects.get().file, HostPayment.objects.get().signature):
        kept.storage.delete(kept.name)
    assert [hand_client.get(each).status_code for each in addresses] == [404, 404]


def test_photo_named_twice_answers_422(world, hand_client):
    photo = some_id("photo")
    raw = document(world, "a", entries=[entry(world, "a", 0, photos=[photo]), entry(world, "a", 1, photos=[photo])])

    assert send(hand_client, raw, **{photo: picture()}).status_code == 422


@pytest.mark.parametrize("same", ["visit", "entry a 0"])
def test_bag_with_the_id_of_something_else_answers_422(world, hand_client, same):
    raw = document(world, "a", entries=[entry(world, "a", cents=500)])
    taken = raw["id"] if same == "visit" else some_id(same)

    assert send(hand_client, {**raw, "loose_bag": {"id": taken, "number": "1"}}).status_code == 422


def test_withdrawal_that_pays_the_host_answers_422(world, hand_client):
    first = document(world, "a")
    send(hand_client, first)
    paid = {"cents": 100, "received_by": "Mika"}
    withdrawal = document(world, "b", replaces=first["id"], void=True, reason="wrong", host_payment=paid)

    assert send(hand_client, withdrawal).status_code == 422


@pytest.mark.parametrize("text", ["", " ", "\x00", "\ud800"])
@pytest.mark.parametrize("where", ["bag", "host"])
def test_text_that_is_empty_when_cleaned_answers_422(world, hand_client, where, text):
    raw = document(world, "a", entries=[entry(world, "a", cents=500)])
    told = {"bag": {"loose_bag": {"id": some_id("x"), "number": text}}}.get(where)
    raw |= told or {"host_payment": {"cents": 5, "received_by": text}}

    assert send(hand_client, raw).status_code == 422
    assert not Visit.objects.exists()


def test_nul_and_odd_keys_are_kept_readable(world, hand_client):
    cash = {"taken": "sealed", "bag": {"id": some_id("s"), "number": "S\x001"}, "lines": {"\x00c25": 4}}
    raw = document(world, "a", note="a\x00b", entries=[entry(world, "a", cash=cash, checks={"Glass\x00": True})])

    assert send(hand_client, raw).status_code == 201

    kept = rules_document.read(Visit.objects.get().document)
    assert (kept.note, kept.entries[0].checks, kept.entries[0].cash.lines) == ("ab", {"Glass": True}, {"c25": 4})
    assert hand_client.get(f"/visits/{raw['id']}/").status_code == 200


def test_signed_out_part_of_a_page_with_a_broken_address_leads_to_the_sign_in(db):
    answer = Client().get("/prizes/", headers={"HX-Request": "true", "HX-Current-URL": "http://[::1"})

    assert answer.headers["HX-Redirect"] == "/sign-in/?next=/"


def test_moves_asked_for_by_htmx_are_the_page(world, hand_client):
    assert hand_client.get("/prizes/moves/", headers={"HX-Request": "true"}).status_code == 200


def test_cabinet_numbers_that_are_no_numbers_are_passed_over(world, hand_client):
    form = {"cabinet": ["²", "9" * 40, "\x00"]}

    assert hand_client.post(f"/visits/new/{world.location.pk}/", form).status_code == 422


def test_visit_withdrawn_for_no_visible_reason_is_asked_for_one(world, hand_client):
    raw = document(world, "a")
    send(hand_client, raw)

    answer = hand_client.post(f"/visits/{raw['id']}/withdraw/", {"reason": "\x00 "})

    assert (answer.status_code, Visit.objects.count()) == (422, 1)
