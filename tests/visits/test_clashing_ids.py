"""Ids are made by phones: one that stands for something already is refused with words, also at the same instant."""

import threading

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from django.test import Client

from routeapp.models import Visit
from tests.visits.books import document, entry, make_world, purse_balances, some_id
from tests.visits.test_sync import send

pytestmark = pytest.mark.django_db

USED = {"entries": "Something in this visit has an id that another visit uses. Enter this visit anew."}


@pytest.fixture
def world(owner):
    return make_world(owner)


@pytest.fixture
def first(world, hand_client):
    raw = document(world, "a", entries=[entry(world, "a", reading=150, cents=5000)])
    send(hand_client, raw)
    return raw


@pytest.mark.parametrize("taken", ["id", "entry", "bag"])
def test_visit_with_the_id_of_something_else_answers_422(world, hand_client, first, taken):
    ids = {"id": first["entries"][0]["id"], "entry": first["entries"][0]["id"], "bag": first["loose_bag"]["id"]}

    answer = send(hand_client, document(world, "b", days=1, id=ids[taken]))

    assert (answer.status_code, answer.json()["errors"]) == (422, USED)


@pytest.mark.parametrize("taken", ["visit", "entry", "bag"])
def test_entry_with_the_id_of_something_else_answers_422(world, hand_client, first, taken):
    ids = {"visit": first["id"], "entry": first["entries"][0]["id"], "bag": first["loose_bag"]["id"]}
    second = document(world, "b", days=1, entries=[{**entry(world, "b", reading=160), "id": ids[taken]}])

    answer = send(hand_client, second)

    assert (answer.status_code, answer.json()["errors"]) == (422, USED)


@pytest.mark.parametrize("taken", ["visit", "entry"])
def test_bag_with_the_id_of_another_visits_answers_422(world, hand_client, first, taken):
    ids = {"visit": first["id"], "entry": first["entries"][0]["id"]}
    second = document(world, "b", days=1, loose_bag={"id": ids[taken], "number": "L-b"})

    answer = send(hand_client, second)

    assert (answer.status_code, answer.json()["errors"]) == (422, USED)


def test_bag_that_two_visits_fill_is_one_bag(world, hand_client, first):
    more = [entry(world, "b", reading=160, cents=700)]
    send(hand_client, document(world, "b", days=1, entries=more, loose_bag=first["loose_bag"]))

    assert sum(cents for key, cents in purse_balances().items() if key[0] == "bag") == 5700


def test_fault_with_the_id_of_another_cabinets_answers_422(world, hand_client):
    fault = {"id": some_id("fault"), "text": "The claw hangs."}
    send(hand_client, document(world, "a", entries=[entry(world, "a", 0, faults=[fault])]))

    answer = send(hand_client, document(world, "b", entries=[entry(world, "b", 1, faults=[fault])]))

    assert answer.json()["errors"] == {
        "entries": "A fault in this visit has the id of another cabinet's. Enter this visit anew."
    }


def test_two_visits_that_correct_each_other_do_not_both_go(world, hand_client):
    names = {"a": "b", "b": "a"}
    papers = [document(world, one, replaces=some_id(other), reason="wrong") for one, other in names.items()]

    answers = [send(hand_client, raw) for raw in papers]

    assert [answer.status_code for answer in answers] == [201, 422]
    assert answers[1].json()["errors"] == {
        "replaces": "That visit says that it corrects this one. Enter what happened as a new visit."
    }
    assert Visit.objects.live().count() == 1


def test_circle_of_three_corrections_is_refused(world, hand_client):
    circle = [("a", "b"), ("b", "c"), ("c", "a")]
    papers = [document(world, one, replaces=some_id(other), reason="wrong") for one, other in circle]

    assert [send(hand_client, raw).status_code for raw in papers] == [201, 201, 422]


@pytest.mark.django_db(transaction=True)
def test_one_entry_in_many_documents_at_once_stands_in_one_visit(world, route_hand):
    papers = [document(world, f"{n}", days=n, entries=[entry(world, "same", reading=150)]) for n in range(6)]

    assert sorted(at_once(papers)) == [201, 422, 422, 422, 422, 422]
    assert Visit.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_visits_that_correct_each_other_at_once_leave_one(world, route_hand):
    papers = [document(world, one, replaces=some_id(other), reason="wrong") for one, other in ("ab", "ba")]

    assert sorted(at_once(papers)) == [201, 422]
    assert Visit.objects.live().count() == 1


def at_once(papers):
    """The status codes of documents that are sent at the same moment, each on a connection of its own."""
    codes = []

    def phone(raw):
        client = Client()
        client.force_login(
            get_user_model().objects.get(username="tomas"), backend="django.contrib.auth.backends.ModelBackend"
        )
        codes.append(send(client, raw).status_code)
        connection.close()

    threads = [threading.Thread(target=phone, args=[raw]) for raw in papers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return codes
