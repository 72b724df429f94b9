"""Visits that come in late, from phones whose clocks are wrong, for cabinets that were moved meanwhile."""

import json
from datetime import UTC, datetime, timedelta
from html import unescape
from uuid import uuid4

import pytest
from django.utils import timezone

from routeapp.kit import clock
from routeapp.models import CashMove, TimesKept, Visit
from routeapp.pages.queries_today import today
from routeapp.visits import queries
from tests import factories
from tests.visits.books import FOREVER, START, document, entry, make_world, record, snapshot, some_id
from tests.visits.test_sync import picture, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


def at_clock(client, raw, hours):
    """Send a visit from a phone whose clock is so many hours ahead."""
    ahead = timezone.now() + timedelta(hours=hours)
    return client.post("/sync/visits/", {"document": json.dumps(raw), "device_time": ahead.isoformat()})


def needs():
    return {title: each for title, each in today(clock.now(), "UTC").needs}.get("Times in doubt", [])


def plays(world):
    return [
        (one.entry.at.day, one.plays)
        for one in queries.figures([world.meters[0].machine_id], factories.LONG_AGO, FOREVER)
    ]


# Two people at one cabinet


def test_visits_of_two_people_interleave_by_when_they_happened(world, owner, route_hand):
    ours = document(world, "a", days=3, entries=[entry(world, "a", reading=400, cents=30_000)])
    theirs = document(world, "b", days=1, entries=[entry(world, "b", reading=150, cents=5_000)])

    record(world, ours, by=owner)
    assert plays(world) == [(5, 300)]
    record(world, theirs, by=route_hand)

    assert plays(world) == [(3, 50), (5, 250)]


def test_page_of_a_late_visit_says_what_it_changed(world, owner, route_hand, hand_client):
    send(hand_client, document(world, "a", days=3, entries=[entry(world, "a", reading=400, cents=25_000)]))
    send(hand_client, document(world, "b", days=1, entries=[entry(world, "b", reading=150, cents=5_000)]))

    late = hand_client.get(f"/visits/{some_id('b')}/").context["told"]
    first = hand_client.get(f"/visits/{some_id('a')}/").context["told"]

    assert [(str(one.changed.entry.visit_id), one.changed.plays) for one in late] == [(some_id("a"), 250)]
    assert [one.changed for one in first] == [None]


def test_history_of_a_cabinet_marks_what_came_in_late(world, hand_client):
    for name, days in (("a", 3), ("b", 1), ("c", 5)):
        send(hand_client, document(world, name, days=days, entries=[entry(world, name, reading=200 + 40 * days)]))

    page = hand_client.get(f"/cabinets/{world.meters[0].machine.code}/")

    assert page.content.decode().count("came in late") == 1
    assert page.context["shown"].late == {Visit.objects.get(pk=some_id("b")).entries.get().pk}


def test_correction_of_an_older_visit_did_not_come_in_late(world, hand_client):
    send(hand_client, document(world, "a", entries=[entry(world, "a", reading=150)]))
    send(hand_client, document(world, "b", days=1, entries=[entry(world, "b", reading=190)]))
    again = {"replaces": some_id("a"), "reason": "typed it wrong"}
    send(hand_client, document(world, "c", entries=[entry(world, "c", reading=160)], **again))

    assert [one.changed for one in hand_client.get(f"/visits/{some_id('c')}/").context["told"]] == [None]


# Clocks


@pytest.mark.parametrize(("hours", "doubtful"), [(0, False), (0.05, False), (-0.05, False), (3, True), (-3, True)])
def test_clock_that_is_off_by_more_than_five_minutes_is_noticed(world, hand_client, hours, doubtful):
    answer = at_clock(hand_client, document(world, "a"), hours)

    visit = Visit.objects.get()
    assert (answer.status_code, visit.doubtful) == (201, doubtful)
    assert abs(visit.device_at - visit.received_at - timedelta(hours=hours)) < timedelta(minutes=1)


@pytest.mark.parametrize(
    "told",
    ["", "noon", "2026-03-02T10:00:00", "0001-01-01T00:00:00+14:00", "\x00", "NaN", "1e400", "9998-01-01T00:00:00Z"],
)
def test_clock_that_tells_nothing_is_no_reason_to_lose_a_visit(world, hand_client, told):
    answer = hand_client.post("/sync/visits/", {"document": json.dumps(document(world, "a")), "device_time": told})

    visit = Visit.objects.get()
    assert (answer.status_code, visit.device_at, visit.doubtful) == (201, None, False)


def test_retry_keeps_what_the_clock_showed_first(world, hand_client):
    at_clock(hand_client, document(world, "a"), 3)
    first = Visit.objects.get().device_at

    answer = at_clock(hand_client, document(world, "a"), 0)

    assert (answer.status_code, Visit.objects.get().device_at) == (200, first)


def test_times_a_fast_clock_explains_are_taken_in_and_asked_about(world, hand_client):
    arrived = timezone.now() + timedelta(days=3)
    raw = document(world, "a") | {"arrived_at": arrived.isoformat(), "departed_at": arrived.isoformat()}

    assert send(hand_client, raw).status_code == 422
    assert at_clock(hand_client, raw, 72).status_code == 201
    assert [need.argument for need in needs()] == [Visit.objects.get().pk]


def test_times_still_to_come_are_in_doubt_though_the_clock_was_right(world, hand_client):
    arrived = timezone.now() + timedelta(hours=2)
    raw = document(world, "a") | {"arrived_at": arrived.isoformat(), "departed_at": arrived.isoformat()}

    assert send(hand_client, raw).status_code == 201
    assert [need.why for need in needs()] == ["These times were still to come when the visit was received."]

    visit = Visit.objects.get()
    hand_client.post(f"/visits/{visit.pk}/times/keep/")
    hand_client.post(f"/visits/{visit.pk}/times/shift/")
    assert (TimesKept.objects.count(), Visit.objects.count()) == (0, 1)


def test_today_asks_about_a_wrong_clock_until_the_times_are_kept(world, hand_client, route_hand):
    at_clock(hand_client, document(world, "a"), 3)
    visit = Visit.objects.get()
    assert [need.why for need in needs()] == ["The phone's clock was 3 hours ahead when it sent this visit."]

    for _ in range(2):
        hand_client.post(f"/visits/{visit.pk}/times/keep/")

    assert TimesKept.objects.get().by == route_hand
    assert (needs(), hand_client.get(f"/visits/{visit.pk}/").context["doubt"]) == ([], None)


def test_times_put_right_are_a_correction_with_the_same_facts(world, owner_client, route_hand):
    wrong = document(world, "a", entries=[entry(world, "a", reading=150, cents=5000, found={0: 0}, loaded={0: 7})])
    record(world, wrong, by=route_hand, at=START)
    Visit.objects.update(doubtful=True, device_at=START - timedelta(hours=3))
    before = snapshot(world)

    for _ in range(2):
        owner_client.post(f"/visits/{some_id('a')}/times/shift/")

    right = Visit.objects.live().get()
    assert (str(right.replaces), right.at, right.doubtful) == (some_id("a"), START + timedelta(hours=3), False)
    assert (Visit.objects.count(), needs()) == (2, [])
    same = ("holdings", "moved", "purses", "bags")
    assert {name: snapshot(world)[name] for name in same} == {name: before[name] for name in same}


@pytest.mark.parametrize("clock", ["1970-01-01T00:00:00Z", "2999-12-31T23:59:59Z"])
def test_clock_that_is_centuries_off_still_leaves_pages_to_look_at(world, hand_client, clock):
    hand_client.post("/sync/visits/", {"document": json.dumps(document(world, "a")), "device_time": clock})
    address = f"/visits/{some_id('a')}/"

    hand_client.post(f"{address}times/shift/")

    assert Visit.objects.count() == 1  # the shifted times make no sense, so they were refused
    assert (hand_client.get(address).status_code, hand_client.get("/").status_code) == (200, 200)


def test_visit_whose_clock_was_right_is_not_shifted(world, hand_client):
    at_clock(hand_client, document(world, "a"), 0)

    answer = hand_client.post(f"/visits/{some_id('a')}/times/shift/", follow=True)

    assert "The phone's clock was right when it sent this visit." in unescape(answer.content.decode())
    assert Visit.objects.count() == 1


def test_me_tells_the_servers_clock(hand_client):
    told = datetime.fromisoformat(hand_client.get("/sync/me/").json()["server_time"])

    assert abs(told - datetime.now(UTC)) < timedelta(minutes=1)


# What was changed meanwhile


def test_visit_to_a_cabinet_that_left_afterwards_counts_where_it_stood(world, hand_client):
    stay = world.meters[0].machine.placements.get()
    stay.ended_at, stay.ended_by = START + timedelta(days=2), world.person
    stay.save()

    answer = send(hand_client, document(world, "a", entries=[entry(world, "a", reading=150, cents=5000)]))

    assert (answer.status_code, answer.json()["questions"]) == (201, {})
    assert set(CashMove.objects.values_list("location", flat=True)) == {world.location.pk}


@pytest.mark.parametrize(("moved", "where"), [(True, "stood at Pier Hall"), (False, "stood nowhere")])
def test_cabinet_that_did_not_stand_there_is_taken_in_and_asked_about(world, hand_client, moved, where):
    machine = world.meters[0].machine
    machine.placements.all().delete()
    if moved:
        factories.PlacementFactory(machine=machine, location=factories.LocationFactory(name="Pier Hall"))

    answer = send(hand_client, document(world, "a", entries=[entry(world, "a", reading=150)]))

    question = f"By the books {machine} {where} then. Was it really here?"
    assert (answer.status_code, answer.json()["questions"]["entries.0.machine"]) == (201, question)
    assert [one.stray for one in hand_client.get(f"/visits/{some_id('a')}/").context["told"]] == [where]


def test_prize_that_was_given_up_meanwhile_is_taken_in(world, hand_client):
    world.prizes[0].retired = True
    world.prizes[0].save()

    assert send(hand_client, document(world, "a", entries=[entry(world, "a", loaded={0: 3})])).status_code == 201


def test_host_who_got_more_than_was_counted_is_asked_about(world, hand_client):
    paid = {"cents": 900, "received_by": "Mika"}

    answer = send(hand_client, document(world, "a", entries=[entry(world, "a", cents=500)], host_payment=paid))

    assert answer.json()["questions"] == {
        "host_payment.cents": "The host got $9.00, but only $5.00 was counted here. Is that right?"
    }


def test_host_who_was_paid_out_of_a_fuller_bag_is_not_asked_about(world, hand_client):
    first = document(world, "a", entries=[entry(world, "a", cents=500)])
    send(hand_client, first)
    paid = {"cents": 500, "received_by": "Mika"}

    answer = send(hand_client, document(world, "b", days=1, loose_bag=first["loose_bag"], host_payment=paid))

    assert answer.json()["questions"] == {}


def test_correction_shows_the_photos_of_the_first_version(world, hand_client):
    photo = some_id("photo")
    raw = document(world, "a", entries=[entry(world, "a", reading=150, photos=[photo])])
    send(hand_client, raw, **{photo: picture()})
    again = {"replaces": raw["id"], "reason": "typed it wrong"}
    send(hand_client, document(world, "b", entries=[entry(world, "b", reading=160)], **again))

    told = hand_client.get(f"/visits/{some_id('b')}/").context["told"]

    assert [[str(one.pk) for one in each.photos] for each in told] == [[photo]]


# On the visit page


def corrected(client, world, arrived, **more):
    """Open the correction of visit “a”, which arrived at this moment, and send it as it was shown."""
    part = entry(world, "a", reading=150, cents=5000)
    record(world, document(world, "a", entries=[part]) | {"arrived_at": arrived, "departed_at": arrived}, at=FOREVER)
    address, cabinet = f"/visits/{some_id('a')}/correct/", f"c{world.meters[0].machine_id}"
    page = client.get(address)
    shown = {"id": str(uuid4()), "arrived_at": page.context["stop"]["arrived_at"].value().strftime("%Y-%m-%dT%H:%M")}
    fields = {"reason": "typed it wrong", "cabinet": cabinet[1:], f"{cabinet}-cash-sum": "51", **shown, **more}
    return client.post(address, fields | {f"{cabinet}-reading_{world.meters[0].pk}": "150", "asked": "on"})


@pytest.mark.parametrize("arrived", ["2025-11-02T01:30:00-05:00", "2025-11-02T01:30:00-06:00", "2026-03-02T10:00:41Z"])
def test_correction_that_leaves_the_arrival_alone_keeps_it_to_the_second(world, hand_client, arrived):
    """Chicago's clocks showed half past one twice on 2 November 2025 (IANA time zone database)."""
    corrected(hand_client, world, arrived)

    assert [visit.at for visit in Visit.objects.filter(replaces=some_id("a"))] == [datetime.fromisoformat(arrived)]


def test_correction_of_the_arrival_counts(world, hand_client):
    corrected(hand_client, world, "2026-03-02T16:00:41Z", arrived_at="2026-03-02T11:00")

    assert Visit.objects.get(replaces=some_id("a")).at == datetime(2026, 3, 2, 17, tzinfo=UTC)


def test_arrival_still_to_come_is_refused_on_the_page(world, hand_client):
    tomorrow = f"{timezone.now() + timedelta(days=1):%Y-%m-%dT%H:%M}"

    page = hand_client.post(
        f"/visits/new/{world.location.pk}/", {"id": str(uuid4()), "arrived_at": tomorrow, "note": "Closed"}
    )

    assert (page.status_code, Visit.objects.count()) == (422, 0)
    assert "That moment is still to come." in page.content.decode()


def test_host_paid_more_than_was_counted_is_asked_about_on_the_page(world, hand_client):
    cabinet = f"c{world.meters[0].machine_id}"
    said = {"id": str(uuid4()), "arrived_at": "2026-03-20T10:00", "cabinet": cabinet[1:], f"{cabinet}-cash-sum": "5"}
    said |= {"host_cents": "9", "host_received_by": "Mika"}

    page = hand_client.post(f"/visits/new/{world.location.pk}/", said)
    assert (page.status_code, Visit.objects.count()) == (422, 0)
    assert "The host got $9.00, but only $5.00 was counted here. Is that right?" in page.content.decode()

    hand_client.post(f"/visits/new/{world.location.pk}/", said | {"asked": "on"})
    assert Visit.objects.count() == 1


def test_cabinet_that_left_while_the_page_was_open_is_asked_about_there(world, hand_client):
    machine = world.meters[0].machine
    machine.placements.update(ended_at=START, ended_by=world.person)
    cabinet = f"c{machine.pk}"
    said = {"id": str(uuid4()), "arrived_at": "2026-03-20T10:00", "cabinet": cabinet[1:], f"{cabinet}-note": "Dusty"}

    page = hand_client.post(f"/visits/new/{world.location.pk}/", said)
    assert (page.status_code, Visit.objects.count()) == (422, 0)
    assert f"By the books {machine} stood nowhere then. Was it really here?" in unescape(page.content.decode())

    hand_client.post(f"/visits/new/{world.location.pk}/", said | {"asked": "on"})
    assert Visit.objects.get().location == world.location
