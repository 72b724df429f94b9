"""A cabinet leaves its location with closing readings, and a placement typed wrongly is withdrawn."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from locations.models import Placement, WithdrawnPlacement
from machines.models import Machine, Reading
from routeapp.kit.once import ANOTHER
from routeapp.models import ServiceEntry, StockCount, StockMove, Visit
from routeapp.stock import actions as stock
from routeapp.stock.models import PlaceKind
from tests.factories import (
    PlacementFactory,
)
from tests.visits.stays import MAY, address, errors, opening, pieces


@pytest.fixture
def placement(claw, mill):
    Machine.objects.filter(pk=claw.pk).update(status="placed")
    return PlacementFactory(machine=claw, location=mill, started_at=MAY)


@pytest.fixture
def filled(owner, claw, store, fox):
    inside = stock.cabinet_place(claw)
    stock.move(prize=fox, quantity=40, from_place=store, to_place=inside, by=owner, at=MAY, received_at=MAY)
    return inside


def leaving(**changed):
    return {"at": "2026-05-20T10:00", "because": "too few plays", "next_status": "bench", "to_place": ""} | changed


def end_address(placement):
    return reverse("placement-end", args=[placement.pk])


def test_ended_placement_keeps_closing_readings_and_brings_prizes_home(
    hand_client, placement, plays, claw, store, fox, filled
):
    form = leaving(to_place=store.pk) | {f"meter{plays.pk}": "12900", f"found{fox.pk}": "31"}
    response = hand_client.post(end_address(placement), form)
    assert response.url == reverse("location", args=[placement.location_id])
    placement.refresh_from_db()
    claw.refresh_from_db()
    at = datetime(2026, 5, 20, 10, tzinfo=UTC)
    assert (placement.ended_at, placement.ended_because, claw.status) == (at, "too few plays", "bench")
    assert Reading.objects.filter(at=at).values_list("value", "kind").get() == (12900, "reading")
    assert (pieces(store, fox), pieces(filled, fox)) == (91, 0)
    won = StockMove.objects.filter(to_place=stock.beyond(PlaceKind.PLAYERS))
    assert [move.quantity for move in won] == [9]


def test_prizes_may_stay_in_the_cabinet(owner_client, placement, store, fox, filled):
    owner_client.post(end_address(placement), leaving() | {f"found{fox.pk}": "31"})
    assert (pieces(store, fox), pieces(filled, fox)) == (60, 31)


def test_prizes_nobody_counted_stay_as_the_books_have_them(owner_client, placement, store, fox, filled):
    owner_client.post(end_address(placement), leaving(to_place=store.pk))
    assert (pieces(store, fox), pieces(filled, fox)) == (60, 40)
    assert StockCount.objects.count() == 0


def test_end_sent_twice_is_one(owner_client, placement, plays, store, fox, filled):
    form = leaving(to_place=store.pk) | {f"meter{plays.pk}": "12900", f"found{fox.pk}": "31"}
    first, second = (owner_client.post(end_address(placement), form) for _ in range(2))
    assert first.url == second.url
    assert (Reading.objects.count(), StockCount.objects.count(), pieces(store, fox)) == (2, 1, 91)
    for other in ({"because": "sold"}, {f"meter{plays.pk}": "12901"}):
        assert ANOTHER in owner_client.post(end_address(placement), form | other).content.decode()


def withdraw(client, placement, reason="it went to the other shop"):
    return client.post(reverse("placement-withdraw", args=[placement.pk]), {"reason": reason})


def test_placement_typed_wrongly_never_was(owner_client, owner, claw, mill, plays, store, fox):
    form = opening(from_place=store.pk) | {f"meter{plays.pk}": "12400", f"load{fox.pk}": "40"}
    owner_client.post(address(claw, mill), form)
    placement = Placement.objects.get()
    first, second = withdraw(owner_client, placement), withdraw(owner_client, placement)
    claw.refresh_from_db()

    assert (first.status_code, second.status_code) == (302, 404)
    assert (Placement.objects.count(), claw.status) == (0, "ordered")
    assert [reading.value for reading in Reading.objects.live()] == [12345]
    assert (pieces(store, fox), pieces(claw.place, fox)) == (100, 0)
    gone = WithdrawnPlacement.objects.get()
    said = (gone.uuid, gone.machine, gone.location, gone.spot, gone.started_by, gone.reason, gone.withdrawn_by)
    assert said == (placement.uuid, claw, mill, "left of the door", owner, "it went to the other shop", owner)
    page = owner_client.get(reverse("cabinet", args=["C-007"])).content.decode()
    assert page.count("it went to the other shop") == 1
    again = owner_client.post(address(claw, mill), form)
    assert (again.status_code, "withdrawn since. Open a new one." in again.content.decode()) == (422, True)


def test_placement_that_was_visited_is_not_withdrawn(owner_client, owner, placement):
    at = MAY + timedelta(days=20)
    said = {"document": {}, "by": owner, "made_by": owner, "received_at": at, "departed_at": at}
    visit = Visit.objects.create(uuid=uuid.uuid4(), location=placement.location, at=at, **said)
    ServiceEntry.objects.create(uuid=uuid.uuid4(), visit=visit, machine=placement.machine, at=visit.at)
    response = withdraw(owner_client, placement)

    assert response.status_code == 422
    assert "was visited there on 21 May 2026. Correct that visit first" in response.content.decode()
    assert Placement.objects.get() == placement


def test_meter_that_cannot_be_read_is_left_out(owner_client, placement, plays):
    assert owner_client.post(end_address(placement), leaving()).status_code == 302
    assert Reading.objects.count() == 1


def test_lower_closing_reading_is_asked_about_and_kept_with_the_answer(owner_client, placement, plays):
    form = leaving() | {f"meter{plays.pk}": "12000"}
    response = owner_client.post(end_address(placement), form)
    assert errors(response) == {f"explained{plays.pk}"}
    assert "12,000 is lower than the last reading of 12,345." in response.content.decode()
    answer = {f"explained{plays.pk}": "unknown", f"reason{plays.pk}": "board was swapped"}
    assert owner_client.post(end_address(placement), form | answer).status_code == 302
    reading = Reading.objects.get(value=12000)
    assert (reading.explained_as, reading.reason) == ("unknown", "board was swapped")


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"at": "2026-04-30T10:00"}, "at"),
        ({"at": "2999-01-01T10:00"}, "at"),
        ({"at": "\x00"}, "at"),
        ({"next_status": "placed"}, "next_status"),
        ({"next_status": ""}, "next_status"),
        ({"because": "x" * 201}, "because"),
        ({"to_place": "987654"}, "to_place"),
    ],
)
def test_end_that_cannot_be_is_said_and_nothing_is_half_written(
    owner_client, placement, plays, fox, filled, changed, field
):
    form = leaving() | {f"meter{plays.pk}": "12900", f"found{fox.pk}": "31"} | changed
    assert errors(owner_client.post(end_address(placement), form)) == {field}
    placement.refresh_from_db()
    assert placement.ended_at is None
    assert (Reading.objects.count(), pieces(filled, fox)) == (1, 40)


def test_ended_placement_cannot_be_ended_at_another_moment(owner_client, owner, placement):
    placement.ended_at, placement.ended_by = MAY + timedelta(days=3), owner
    placement.save()
    assert owner_client.get(end_address(placement)).status_code == 302
    assert errors(owner_client.post(end_address(placement), leaving())) == {"__all__"}


@pytest.mark.parametrize("pk", [0, 987654, 10**30])
def test_unknown_placement_is_not_found(owner_client, pk):
    assert owner_client.get(reverse("placement-end", args=[pk])).status_code == 404
