"""A cabinet comes to a location with opening readings and fill."""

from datetime import UTC, datetime

import pytest
from django.urls import reverse

from locations.models import Placement
from machines.models import Machine, Reading
from routeapp.kit.once import ANOTHER
from routeapp.models import Place, StockCount
from routeapp.stock import actions as stock
from routeapp.stock.models import PlaceKind
from tests.factories import (
    LocationFactory,
    MachineFactory,
    MeterFactory,
    PlacementFactory,
    PrizeFactory,
)
from tests.visits.stays import MAY, address, errors, opening, pieces


def test_only_free_cabinets_and_open_locations_are_offered(owner_client, claw, mill):
    PlacementFactory(machine=MachineFactory(code="C-001"), location=mill)
    MachineFactory(code="C-002", status="sold")
    LocationFactory(name="Old Quay", closed_on=MAY.date())
    form = owner_client.get(reverse("placement-assign")).context["form"]
    assert [value for value, _ in form.fields["cabinet"].widget.choices] == ["", "C-007"]
    assert [value for value, _ in form.fields["location"].widget.choices] == ["", mill.pk]


def test_cabinet_named_in_the_address_is_chosen_already(owner_client, claw, mill):
    page = owner_client.get(reverse("placement-assign"), {"cabinet": "C-007"}).content.decode()
    assert '<option value="C-007" selected>' in page


@pytest.mark.parametrize(
    ("status", "sentence"),
    [("out_of_order", "C-007 is out of order. Change its status first."), ("placed", None)],
)
def test_what_is_in_the_way_is_said_before_anything_is_filled_in(owner_client, claw, mill, status, sentence):
    if status == "placed":
        PlacementFactory(machine=claw, location=LocationFactory(name="Quay"))
        sentence = "C-007 stands at Quay. End that placement first."
    Machine.objects.filter(pk=claw.pk).update(status=status)
    response = owner_client.get(address(claw, mill))
    assert response.context["form"].errors == {"cabinet": [sentence]}


@pytest.mark.parametrize(
    "query",
    [
        "cabinet=NO-1&location=x",
        "cabinet=&location=",
        "cabinet=%00&location=%00",
        f"cabinet={'9' * 99}&location={10**30}",
    ],
)
@pytest.mark.parametrize("method", ["get", "post"])
def test_unknown_cabinets_and_locations_are_asked_for_again(owner_client, query, method):
    response = getattr(owner_client, method)(f"{reverse('placement-assign')}?{query}")
    assert errors(response) == {"cabinet", "location"}


def test_page_compares_what_the_cabinet_needs_with_what_the_place_has(owner_client, claw, mill, plays):
    PlacementFactory(machine__model__watts=100, location=mill)
    page = owner_client.get(address(claw, mill)).content.decode()
    for words in (
        "840 mm × 900 mm × 1980 mm",
        "260 W",
        "Door 82 cm",
        "Two outlets on the left wall",
        "1 cabinet there already",
    ):
        assert words in page
    assert "12,345 on 1 May 2026" in page
    assert "top-heavy" in page


def test_assigned_cabinet_stands_there_with_its_readings_and_prizes(hand_client, claw, mill, plays, store, fox):
    form = opening(from_place=store.pk) | {f"meter{plays.pk}": "12350", f"load{fox.pk}": "40"}
    response = hand_client.post(address(claw, mill), form)
    assert response.url == reverse("location", args=[mill.pk])
    placement = Placement.objects.get()
    at = datetime(2026, 5, 10, 14, 30, tzinfo=UTC)
    assert (placement.machine, placement.location, placement.spot) == (claw, mill, "left of the door")
    assert (placement.started_at, str(placement.uuid)) == (at, form["uuid"])
    reading = Reading.objects.get(at=at)
    assert (reading.value, reading.kind, reading.source) == (12350, "baseline", placement.uuid)
    assert (pieces(store, fox), pieces(stock.cabinet_place(claw), fox)) == (60, 40)
    claw.refresh_from_db()
    assert claw.status == "placed"


def test_moment_is_typed_by_the_location_s_clock(owner_client, claw):
    there = LocationFactory(time_zone="America/New_York")
    owner_client.post(address(claw, there), opening())
    assert Placement.objects.get().started_at == datetime(2026, 5, 10, 18, 30, tzinfo=UTC)


def test_form_sent_twice_is_one_placement(owner_client, claw, mill, plays, store, fox):
    form = opening(from_place=store.pk) | {f"meter{plays.pk}": "12350", f"load{fox.pk}": "40"}
    first, second = (owner_client.post(address(claw, mill), form) for _ in range(2))
    assert first.url == second.url
    assert (Placement.objects.count(), Reading.objects.filter(kind="baseline").count()) == (1, 1)
    assert pieces(store, fox) == 60
    for other in ({"spot": "at the back"}, {f"meter{plays.pk}": "12351"}, {f"load{fox.pk}": "41"}):
        assert ANOTHER in owner_client.post(address(claw, mill), form | other).content.decode()


def test_form_that_found_nothing_left_is_one_when_sent_twice(owner_client, owner, claw, mill, store, fox):
    inside = stock.cabinet_place(claw)
    stock.move(prize=fox, quantity=10, from_place=store, to_place=inside, by=owner, at=MAY, received_at=MAY)
    form = opening() | {f"found{fox.pk}": "0"}
    first, second = (owner_client.post(address(claw, mill), form) for _ in range(2))
    assert (first.status_code, second.status_code, StockCount.objects.count()) == (302, 302, 1)


def test_prizes_found_inside_are_counted_before_others_join_them(owner_client, owner, claw, mill, store, fox):
    inside = stock.cabinet_place(claw)
    stock.move(prize=fox, quantity=10, from_place=store, to_place=inside, by=owner, at=MAY, received_at=MAY)
    form = opening(from_place=store.pk) | {f"found{fox.pk}": "8", f"load{fox.pk}": "30"}
    owner_client.post(address(claw, mill), form)
    assert StockCount.objects.get().quantity == 8
    assert (pieces(store, fox), pieces(inside, fox)) == (60, 38)


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"at": ""}, "at"),
        ({"at": "2999-01-01T10:00"}, "at"),
        ({"at": "1990-01-01T10:00"}, "at"),
        ({"at": "yesterday"}, "at"),
        ({"uuid": "not-one"}, "uuid"),
        ({"spot": "x" * 121}, "spot"),
        ({"spot": "a\x00b"}, "spot"),
        ({"meter": ""}, "meter"),
        ({"meter": "-1"}, "meter"),
        ({"meter": "100000"}, "meter"),
        ({"meter": "9" * 60}, "meter"),
        ({"load": "100001"}, "load"),
        ({"load": "-3"}, "load"),
        ({"load": "3", "from_place": ""}, "from_place"),
        ({"load": "3", "from_place": "987654"}, "from_place"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_half_written(
    owner_client, claw, mill, plays, store, fox, changed, field
):
    names = {"meter": f"meter{plays.pk}", "load": f"load{fox.pk}"}
    form = opening(from_place=store.pk) | {names["meter"]: "12350", names["load"]: "40"}
    form |= {names.get(name, name): value for name, value in changed.items()}
    response = owner_client.post(address(claw, mill), form)
    assert errors(response) == {names.get(field, field)}
    assert (Placement.objects.count(), Reading.objects.count(), pieces(store, fox)) == (0, 1, 100)


def test_location_closed_meanwhile_keeps_what_was_typed(owner_client, claw, mill):
    mill.closed_on = MAY.date()
    mill.save()
    response = owner_client.post(address(claw, mill), opening())
    assert response.context["form"].errors == {"__all__": ["Mill Lane is closed. Open it again first."]}
    assert "left of the door" in response.content.decode()


def test_cabinet_placed_meanwhile_keeps_what_was_typed(owner_client, claw, mill):
    PlacementFactory(machine=claw)
    response = owner_client.post(address(claw, mill), opening())
    assert errors(response) == {"at"}
    assert "left of the door" in response.content.decode()


def test_names_are_written_as_text(owner_client, claw, mill, fox, owner):
    van = Place.objects.create(kind="van", name="<b>Van</b>")
    stock.move(
        prize=fox,
        quantity=1,
        from_place=stock.beyond(PlaceKind.SUPPLIER),
        to_place=van,
        by=owner,
        at=MAY,
        received_at=MAY,
    )
    assert "<b>Van</b>" not in owner_client.get(address(claw, mill)).content.decode()


def test_bookkeeper_places_nothing(client, bookkeeper):
    client.force_login(bookkeeper, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(reverse("placement-assign")).status_code == 403


def test_assign_page_takes_as_many_queries_for_three_as_for_one(
    owner_client, owner, claw, mill, plays, store, fox, django_assert_num_queries
):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    owner_client.get(address(claw, mill))
    with CaptureQueriesContext(connection) as captured:
        owner_client.get(address(claw, mill))
    MeterFactory(machine=claw, counts="prizes_out")
    PlacementFactory.create_batch(2, location=mill)
    for prize in PrizeFactory.create_batch(2):
        source = stock.beyond(PlaceKind.SUPPLIER)
        stock.move(prize=prize, quantity=9, from_place=source, to_place=store, by=owner, at=MAY, received_at=MAY)
    with django_assert_num_queries(len(captured)):
        owner_client.get(address(claw, mill))


# The end of a stay.
