"""All that is due, issued at once: what must wait is left and named, and nothing is issued twice."""

import threading
from datetime import date, timedelta
from uuid import uuid4

import pytest

from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.models import Settlement, SettlementRun
from routeapp.settlements import actions_run
from tests import factories
from tests.settlements.world import agree, drafts, sealed, visit

pytestmark = pytest.mark.django_db


def run(owner, uuid=None, until=date(2026, 4, 30), at=None):
    at = at or factories.datetime(2026, 5, 20, tzinfo=factories.UTC)
    return actions_run.start(uuid=uuid or uuid4(), until=until, send=False, by=owner, at=at)


@pytest.fixture
def three(world):
    """Three locations with two months each; a bag of the third was never counted."""
    first = world.location
    for name in ("", "Quay", "Pier"):
        if name:
            world.location = factories.LocationFactory(name=name, time_zone="America/Chicago")
            agree(world)
            visit(world, f"{name} one", 1, 1_000)
        visit(world, f"{name} two", 35, 2_000)
    sealed(world, "home", 3)
    world.pier, world.location = world.location, first
    return world


def test_everything_due_is_issued_and_what_waits_is_named(three, owner):
    done = run(owner)

    done.refresh_from_db()
    assert (done.issued, done.cents, done.of) == (4, 4_938 + 800 + 400 + 800, 6)
    assert done.left == [[three.pier.pk, "Pier", "March 2026: bag S-home is not counted yet"]]
    assert [one.number for one in Settlement.objects.order_by("number")] == [1, 2, 3, 4]
    assert drafts(three, done.at) == []


def test_same_run_twice_is_one_and_another_takes_up_what_is_left(three, owner):
    uuid = uuid4()
    assert run(owner, uuid) == run(owner, uuid)
    assert run(owner).issued == 0
    assert Settlement.objects.count() == 4
    with pytest.raises(Refused, match="sent before"):
        run(owner, uuid, until=date(2026, 4, 29))


def test_only_periods_that_end_by_the_day_are_issued(three, owner):
    run(owner, until=date(2026, 3, 31))
    assert {one.until for one in Settlement.objects.all()} == {date(2026, 3, 31)}


def test_run_at_work_keeps_another_from_starting_until_it_is_silent(three, owner):
    at = factories.datetime(2026, 5, 20, tzinfo=factories.UTC)
    SettlementRun.objects.create(uuid=uuid4(), by=owner, at=at, until=at.date(), told_at=at)

    with pytest.raises(Refused, match="are being issued already"):
        run(owner, at=at + timedelta(seconds=30))
    run(owner, at=at + timedelta(minutes=2))
    assert Settlement.objects.count() == 4


def test_run_that_ended_with_the_server_is_not_said_to_be_at_work(owner_client, world, owner):
    def said(**told):
        SettlementRun.objects.filter(pk=one.pk).update(**told)
        return [words in owner_client.get("/settlements/due/").text for words in ("being issued.", "The server ended")]

    now = clock.now()
    one = SettlementRun.objects.create(uuid=uuid4(), by=owner, at=now, until=now.date(), told_at=now)
    assert said() == [True, False]
    assert said(told_at=now - timedelta(minutes=2)) == [False, True]
    assert said(ended_at=now) == [False, False]


def test_run_is_started_and_followed_on_its_page(owner_client, three):
    uuid = str(uuid4())
    answer = owner_client.post("/settlements/runs/", {"uuid": uuid, "until": "2026-04-30"})
    assert answer.headers["Location"] == f"/settlements/runs/{uuid}/"
    page = owner_client.get(answer.headers["Location"]).text
    assert "bag S-home is not counted yet" in page


@pytest.mark.parametrize("until", ["", "tomorrow", "0001-01-01", "9999-12-31"])
def test_run_with_a_day_that_cannot_be_used_is_refused_in_words(owner_client, three, until):
    answer = owner_client.post("/settlements/runs/", {"uuid": str(uuid4()), "until": until}, follow=True)
    assert "Nothing was issued." in answer.text
    assert Settlement.objects.count() == 0


@pytest.mark.django_db(transaction=True)
def test_run_that_breaks_off_says_so_on_its_page(owner_client, world, owner):
    now = factories.datetime(2026, 4, 20, tzinfo=factories.UTC)
    one = SettlementRun.objects.create(uuid=uuid4(), by=owner, at=now, until=now.date(), told_at=now)
    nobody = None  # whose papers the database does not take
    alone = threading.Thread(target=actions_run._work_alone, args=(one, [world.location.pk], nobody))
    alone.start()
    alone.join()

    page = owner_client.get(f"/settlements/runs/{one.pk}/").text
    assert [words in page for words in ("This broke off before it was through.", "The server ended")] == [True, False]
    assert (Settlement.objects.count(), SettlementRun.objects.get().is_at_work(now)) == (0, False)
