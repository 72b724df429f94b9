"""The phone's front door answers so that the phone knows what to keep."""

import io
import json
import threading
from uuid import uuid4

import pytest
from django.contrib.admin.models import LogEntry
from django.test import Client
from PIL import Image

from routeapp.models import Business, Photo, Visit
from tests.visits.books import document, entry, make_world, some_id

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


def send(client, raw, **files):
    return client.post("/sync/visits/", {"document": json.dumps(raw), **files})


def picture():
    file = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "A camera"
    Image.new("RGB", (30, 20), "teal").save(file, "JPEG", exif=exif)
    file.seek(0)
    file.name = "photo.jpg"
    return file


def test_new_document_answers_201_and_the_same_again_200(world, hand_client):
    raw = document(world, "a", entries=[entry(world, "a", reading=150, cents=5000)])

    answers = [send(hand_client, raw) for _ in range(3)]

    assert [answer.status_code for answer in answers] == [201, 200, 200]
    assert {answer.json()["id"] for answer in answers} == {raw["id"]}
    assert Visit.objects.count() == 1


def test_same_id_with_another_body_answers_409(world, hand_client):
    raw = document(world, "a", entries=[entry(world, "a", reading=150)])
    send(hand_client, raw)

    answer = send(hand_client, {**raw, "note": "something else"})

    assert (answer.status_code, answer.json()["id"]) == (409, raw["id"])


def test_another_persons_id_answers_409(world, hand_client, bookkeeper, owner):
    raw = document(world, "a")
    send(hand_client, raw)
    other = Client()
    other.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")

    assert send(other, raw).status_code == 409


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"location": 999999}, "location"),
        ({"arrived_at": "yesterday"}, "arrived_at"),
        ({"arrived_at": "2026-03-02T10:00:00"}, "arrived_at"),
        ({"arrived_at": "2030-01-01T10:00:00Z", "departed_at": "2030-01-01T10:00:00Z"}, "arrived_at"),
        ({"surprise": 1}, "surprise"),
        ({"entries": [{"id": some_id("e"), "machine": 999999}]}, "entries"),
        ({"entries": "many"}, "entries"),
        ({"id": "not an id"}, "id"),
        ({"replaces": some_id("x")}, ""),
        ({"load_from": 999999}, "load_from"),
    ],
)
def test_invalid_document_answers_422_with_the_field(world, hand_client, change, field):
    answer = send(hand_client, {**document(world, "a"), **change})

    assert answer.status_code == 422
    assert field in answer.json()["errors"]
    assert not Visit.objects.exists()


@pytest.mark.parametrize("body", ["", "{", "null", "[]", '"x"', "[" * 5000, '{"id": NaN}', "\x00"])
def test_unreadable_document_answers_422(world, hand_client, body):
    assert hand_client.post("/sync/visits/", {"document": body}).status_code == 422


def test_sums_that_do_not_add_up_answer_422(world, hand_client):
    cash = {"taken": "counted", "how": "denominations", "cents": 500, "lines": {"c25": 10}}

    answer = send(hand_client, document(world, "a", entries=[entry(world, "a", cash=cash)]))

    assert answer.json()["errors"] == {
        "entries.0.cash.cents": "The coins and notes come to $2.50, not $5.00. Count again."
    }


def test_unusual_reading_is_kept_and_asked_about_in_the_answer(world, hand_client):
    answer = send(hand_client, document(world, "a", entries=[entry(world, "a", reading=90)]))

    assert answer.status_code == 201
    assert answer.json()["questions"] == {
        "entries.0.readings.0.value": "90 is lower than the last reading of 100. Is that right?"
    }


def test_photo_arrives_without_its_metadata(world, hand_client):
    photo = some_id("photo")
    raw = document(world, "a", entries=[entry(world, "a", reading=150, photos=[photo])])

    answer = send(hand_client, raw, **{photo: picture()})

    assert answer.status_code == 201
    assert dict(Image.open(Photo.objects.get().file).getexif()) == {}


def test_missing_photo_answers_422_and_nothing_is_kept(world, hand_client):
    raw = document(world, "a", entries=[entry(world, "a", reading=150, photos=[some_id("photo")])])

    assert send(hand_client, raw).status_code == 422
    assert not Visit.objects.exists()


def test_signed_out_answers_401_as_json(world, client):
    answer = send(client, document(world, "a"))

    assert (answer.status_code, answer["Content-Type"]) == (401, "application/json")


def test_missing_csrf_token_answers_403_as_json(world, route_hand):
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(route_hand, backend="django.contrib.auth.backends.ModelBackend")

    answer = send(strict, document(world, "a"))

    assert (answer.status_code, answer["Content-Type"]) == (403, "application/json")


def test_fifty_megabytes_answer_413_before_they_are_read(world, hand_client):
    answer = hand_client.post("/sync/visits/", {"document": "x"}, CONTENT_LENGTH=str(50 * 1024 * 1024))

    assert (answer.status_code, answer["Content-Type"]) == (413, "application/json")


def test_me_says_who_is_signed_in_and_is_never_stored(hand_client, route_hand):
    answer = hand_client.get("/sync/me/")

    assert answer.json()["person"] == {"id": route_hand.pk, "name": "Tomas", "roles": ["route hand"]}
    assert "no-store" in answer["Cache-Control"]


@pytest.mark.django_db(transaction=True)
def test_one_document_sent_by_eight_connections_at_once_is_one_visit(world, route_hand):
    raw = document(world, "a", entries=[entry(world, "a", reading=150, cents=5000, loaded={0: 3})], id=str(uuid4()))
    codes = []

    def phone():
        from django.db import connection

        client = Client()
        client.force_login(route_hand, backend="django.contrib.auth.backends.ModelBackend")
        codes.append(send(client, raw).status_code)
        connection.close()

    threads = [threading.Thread(target=phone) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(codes) == [200] * 7 + [201]
    assert Visit.objects.count() == 1


@pytest.mark.parametrize("code", ["%00", "C-001%00", "x" * 300])
def test_code_that_cannot_be_finds_no_stop(world, hand_client, code):
    assert hand_client.get(f"/sync/cabinets/{code}/").status_code == 404


def test_log_names_a_visit_of_the_evening_by_the_day_of_the_business(world, hand_client):
    Business.objects.update_or_create(pk=1, defaults={"time_zone": "America/Chicago"})
    send(hand_client, document(world, "a", days=0.6))  # the next day in UTC

    assert LogEntry.objects.get().object_repr == "Visit of 2 Mar 2026"
