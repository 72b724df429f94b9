"""Writers of one process wait in a queue, and connections keep the statistics that indexes are chosen by."""

import threading

import pytest
from django.db import connection, connections, transaction

from routeapp.models import Place

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


def test_new_connection_brings_the_statistics_up_to_date():
    Place.objects.bulk_create(Place(kind="store", name=f"Store {number}") for number in range(300))
    connection.close()

    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM sqlite_stat1 WHERE tbl = 'routeapp_place'")
        assert cursor.fetchone()[0] > 0
