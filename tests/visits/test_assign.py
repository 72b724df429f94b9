"""A cabinet comes to a location with opening readings and fill, and leaves it with closing ones."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from locations.models import Placement, WithdrawnPlacement
from machines.cabinets.actions_meters import take_reading
from machines.models import Machine, Reading
from routeapp.kit.once import ANOTHER
from routeapp.models import Place, ServiceEntry, StockCount, StockMove, Visit
from routeapp.stock import actions as stock
from routeapp.stock import queries as stock_queries
from routeapp.stock.models import PlaceKind
from tests.factories import (
    CabinetModelFactory,
    LocationFactory,
    MachineFactory,
    MeterFactory,
    PlacementFactory,
    PrizeFactory,
)

MAY = datetime(2026, 5, 1, 9, tzinfo=UTC)


@pytest.fixture
def mill(db):
    return LocationFactory(name="Mill Lane", power_notes="Two outlets on the left wall", access_notes="Door 82 cm")


@pytest.fixture
def claw(db):
    model = CabinetModelFactory(name="Harbour Claw", width_mm=840, depth_mm=900, height_mm=1980, watts=260)
    return MachineFactory(code="C-007", model=model)


@pytest.fixture
def plays(claw, owner):
    meter = MeterFactory(machine=claw, digits=5)
    take_reading(meter=meter, value=12345, by=owner, at=MAY, received_at=MAY)
    return meter


@pytest.fixture
def store(db):
    return Place.objects.create(kind="store", name="Store")


@pytest.fixture
def fox(owner, store):
    prize = PrizeFactory(name="Plush fox")
    source = stock.beyond(PlaceKind.SUPPLIER)
    moment = {"at": MAY, "received_at": MAY}
    stock.move(prize=prize, quantity=100, from_place=source, to_place=store, cost_cents=20000, by=owner, **moment)
    return prize


def address(claw, mill):
    return f"{reverse('placement-assign')}?cabinet={claw.code}&location={mill.pk}"


def opening(**changed):
    return {"uuid": str(uuid.uuid4()), "at": "2026-05-10T14:30", "spot": "left of the door"} | changed


def pieces(place, prize):
    return stock_queries.contents([place.pk])[place.pk].get(prize.pk, 0)


def errors(response):
    assert response.status_code == 422
    return set(response.context["form"].errors)


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
