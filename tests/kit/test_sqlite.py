"""Writers of one process wait in a queue, and connections keep the statistics that indexes are chosen by."""

import json
import threading

import pytest
from django.db import connection, connections, transaction

from routeapp.kit.snapshot import apart
from routeapp.kit.sqlite3 import base
from routeapp.models import Place, Visit
from tests import factories
from tests.visits.books import document, make_world

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.sqlite_only]

THREADS, TURNS = 6, 15


@pytest.fixture
def impatient(monkeypatch):
    """SQLite itself does not wait at all."""
    options = connection.settings_dict["OPTIONS"]
    monkeypatch.setitem(options, "timeout", 0)
    connection.close()
    yield
    connection.close()


def in_threads(work):
    connection.ensure_connection()  # the last one to leave a database locks it while tidying up
    threads = [threading.Thread(target=work, args=[number]) for number in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def test_writers_wait_for_one_another_where_sqlite_would_fail(impatient):
    failed = []

    def write(number):
        try:
            for turn in range(TURNS):
                with transaction.atomic():
                    Place.objects.create(kind="store", name=f"Store {number}-{turn}")
        except Exception as problem:
            failed.append(problem)
        finally:
            connections.close_all()

    in_threads(write)

    assert failed == []
    assert Place.objects.count() == THREADS * TURNS


def test_turn_is_given_up_by_an_error_and_by_a_connection_closed_halfway(impatient):
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        _ = 1 / 0
    with transaction.atomic():
        connection.close()
    done = []

    def write(number):
        with transaction.atomic():
            Place.objects.create(kind="store", name=f"Store {number}")
        done.append(True)
        connections.close_all()

    in_threads(write)

    assert len(done) == THREADS


def test_new_connection_makes_statistics_once_there_is_a_long_table():
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
        cursor.execute("DELETE FROM sqlite_stat1")

    stores(300)
    assert length_known("routeapp_place") is None

    stores(base.LONG)
    assert length_known("routeapp_place") == 300 + base.LONG


def stores(more):
    Place.objects.bulk_create(Place(kind="store", name=f"Store {more}-{number}") for number in range(more))
    connection.close()


def length_known(table):
    with connection.cursor() as cursor:
        cursor.execute("SELECT max(CAST(stat AS INTEGER)) FROM sqlite_stat1 WHERE tbl = %s", [table])
        return cursor.fetchone()[0]


def test_what_is_tried_out_apart_keeps_nobody_from_saving_and_leaves_nothing(impatient):
    Place.objects.create(kind="store", name="Before")
    failed = []

    def write(number):
        try:
            with transaction.atomic():
                Place.objects.create(kind="store", name=f"Meanwhile {number}")
        except Exception as problem:
            failed.append(problem)
        finally:
            connections.close_all()

    with apart(), transaction.atomic():
        Place.objects.create(kind="store", name="Tried out")
        in_threads(write)
        seen = set(Place.objects.values_list("name", flat=True))

    assert failed == []
    assert seen == {"Before", "Tried out"}
    kept = {f"Meanwhile {number}" for number in range(THREADS)} | {"Before"}
    assert set(Place.objects.values_list("name", flat=True)) == kept


def test_who_waited_in_vain_is_told_and_nothing_was_saved(client, monkeypatch):
    owner = factories.person("ines", "owner")
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    visit = {"document": json.dumps(document(make_world(owner), "a"))}
    monkeypatch.setattr(base, "PATIENCE", 0.1)
    answers = []

    def send():
        for address, sent in (("/prizes/places/add/", {"kind": "store", "name": "Shed"}), ("/sync/visits/", visit)):
            answers.append(client.post(address, sent))
        connections.close_all()

    with transaction.atomic():  # somebody else's
        thread = threading.Thread(target=send)
        thread.start()
        thread.join()

    said = [(answer.status_code, answer.headers["Content-Type"].partition(";")[0]) for answer in answers]
    assert said == [(503, "text/html"), (503, "application/json")]
    assert ["nothing of this was saved" in answer.content.decode() for answer in answers] == [True, True]
    assert (Place.objects.filter(name="Shed").count(), Visit.objects.count()) == (0, 0)
