"""Locations: written down with their host, found again, closed."""

import re
from datetime import date, time

import pytest
from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.urls import reverse

from locations.models import Agreement, Host, Location, OpeningHours
from locations.sites import queries
from routeapp.models import Business
from tests.factories import HostFactory, LocationFactory, PlacementFactory


@pytest.fixture
def mill(db):
    return HostFactory(name="Old Mill Bakery")


def typed(**changed):
    form = {"name": "Mill Lane", "host": "", "new_host": "", "address": "3 Mill Lane", "latitude": "", "longitude": ""}
    return form | {"time_zone": "Europe/Lisbon", "access_notes": "", "power_notes": "", "signal_notes": ""} | changed


def test_empty_list_teaches_the_first_step(owner_client):
    assert "Add the first location" in owner_client.get(reverse("locations")).content.decode()


def test_added_location_goes_on_to_its_hours(hand_client, mill):
    form = typed(host=mill.pk, latitude="38.7223", longitude="-9,1393", power_notes="one outlet")
    response = hand_client.post(reverse("location-add"), form)
    location = Location.objects.get()
    assert response.url == reverse("location-hours", args=[location.pk])
    assert (location.host, location.time_zone, location.power_notes) == (mill, "Europe/Lisbon", "one outlet")
    assert (str(location.latitude), str(location.longitude)) == ("38.722300", "-9.139300")


def test_new_host_is_written_in_the_same_form(owner_client):
    owner_client.post(reverse("location-add"), typed(new_host="Tide Street Arcade"))
    assert Location.objects.get().host == Host.objects.get(name="Tide Street Arcade")


def test_new_host_that_is_known_already_is_that_host(owner_client, mill):
    owner_client.post(reverse("location-add"), typed(new_host="old mill bakery"))
    assert Location.objects.get().host == mill
    assert Host.objects.count() == 1


def test_location_sent_twice_is_one(owner_client):
    first, second = (owner_client.post(reverse("location-add"), typed(new_host="Tide Street")) for _ in range(2))
    assert (Location.objects.count(), Host.objects.count()) == (1, 1)
    assert first.url == second.url


def test_time_zones_stand_by_region_with_the_business_s_own_first(owner_client):
    Business.objects.create(pk=1, name="Lantern Row", time_zone="Europe/Lisbon")
    page = owner_client.get(reverse("location-add")).content.decode()
    asked = page[page.index('name="time_zone"') :].partition("</select>")[0]
    zones, regions = (re.findall(f'<{tag}="([^"]*)"', asked) for tag in ("option value", "optgroup label"))

    assert zones[:4] == ["Europe/Lisbon", "UTC", "Europe/Amsterdam", "Europe/Andorra"]
    assert regions == ["Europe", *sorted(regions[1:])]
    assert [asked.count(said) for said in (">Europe, Lisbon<", ">Amsterdam<", ">Indiana, Knox<")] == [1, 1, 1]


def test_time_zone_starts_at_the_business_s_own(owner_client):
    Business.objects.create(pk=1, name="Lantern Row", time_zone="America/Chicago")
    form = owner_client.get(reverse("location-add")).context["form"]
    assert form["time_zone"].value() == "America/Chicago"


def test_host_named_in_the_address_is_chosen_already(owner_client, mill):
    page = owner_client.get(reverse("location-add"), {"host": mill.pk}).content.decode()
    assert f'<option value="{mill.pk}" selected>' in page


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({}, "host"),
        ({"host": "987654"}, "host"),
        ({"new_host": "Tide", "host": "x"}, "host"),
        ({"new_host": "Tide", "name": ""}, "name"),
        ({"new_host": "Tide", "name": "a\x00b"}, "name"),
        ({"new_host": "Tide", "latitude": "38.7"}, "longitude"),
        ({"new_host": "Tide", "longitude": "9"}, "latitude"),
        ({"new_host": "Tide", "latitude": "91", "longitude": "9"}, "latitude"),
        ({"new_host": "Tide", "latitude": "9", "longitude": "-180.1"}, "longitude"),
        ({"new_host": "Tide", "latitude": "north", "longitude": "9"}, "latitude"),
        ({"new_host": "Tide", "latitude": "nan", "longitude": "9"}, "latitude"),
        ({"new_host": "Tide", "latitude": "1e999999", "longitude": "9"}, "latitude"),
        ({"new_host": "Tide", "time_zone": "Mars/Olympus"}, "time_zone"),
        ({"new_host": "Tide", "power_notes": "x" * 201}, "power_notes"),
    ],
)
def test_what_cannot_be_right_is_said_at_its_field(owner_client, changed, field):
    response = owner_client.post(reverse("location-add"), typed(**changed))
    assert response.status_code == 422
    assert set(response.context["form"].errors) == {field}
    assert (Location.objects.count(), Host.objects.count()) == (0, 0)


def test_host_and_new_host_together_are_questioned(owner_client, mill):
    response = owner_client.post(reverse("location-add"), typed(host=mill.pk, new_host="Tide"))
    assert response.context["form"].errors == {"host": ["Choose a host or write a new one, not both."]}


def test_taken_name_is_refused_and_adds_no_host(owner_client):
    LocationFactory(name="Mill Lane")
    response = owner_client.post(reverse("location-add"), typed(new_host="Tide"))
    assert response.context["form"].errors == {"name": ["There is already a location named Mill Lane."]}
    assert not Host.objects.filter(name="Tide").exists()


def test_location_is_changed(owner_client, mill):
    location = LocationFactory()
    address = reverse("location-edit", args=[location.pk])
    response = owner_client.post(address, typed(host=mill.pk, access_notes="Ring twice."))
    assert response.url == reverse("location", args=[location.pk])
    location.refresh_from_db()
    assert (location.name, location.host, location.access_notes) == ("Mill Lane", mill, "Ring twice.")


def test_list_shows_host_and_cabinets_standing_now(owner_client, owner, noon):
    location = LocationFactory(name="Mill Lane")
    PlacementFactory.create_batch(2, location=location)
    PlacementFactory(location=location, ended_at=noon, ended_by=owner)
    (row,) = owner_client.get(reverse("locations")).context["table"].rows
    assert (row.name, row.host, row.cabinets) == ("Mill Lane", location.host, 2)


@pytest.mark.parametrize("text", ["lane", "MILL lane", "bakery", "3 mill"])
def test_locations_are_found_by_name_host_and_address(owner_client, mill, text):
    wanted = LocationFactory(name="Mill Lane", host=mill, address="3 Mill Street")
    LocationFactory(name="Harbour")
    assert list(owner_client.get(reverse("locations"), {"q": text}).context["table"].rows) == [wanted]


def test_filter_sends_only_the_rows_to_htmx_but_the_page_to_the_back_button(owner_client):
    LocationFactory(name="Mill Lane")
    address = reverse("locations") + "?q=mill"
    rows = owner_client.get(address, headers={"HX-Request": "true"}).content.decode()
    back = {"HX-Request": "true", "HX-History-Restore-Request": "true"}
    assert ("Mill Lane" in rows, "<html" in rows) == (True, False)
    assert "<html" in owner_client.get(address, headers=back).content.decode()


@pytest.mark.parametrize("text", ["\x00", "%_", "a " * 3000])
def test_odd_searches_break_nothing(owner_client, text):
    assert owner_client.get(reverse("locations"), {"q": text}).status_code == 200


def test_list_takes_as_many_queries_for_three_as_for_one(owner_client, queries_of):
    PlacementFactory()
    one = queries_of(owner_client, reverse("locations"))
    PlacementFactory.create_batch(2)
    assert queries_of(owner_client, reverse("locations")) == one


def test_location_goes_to_no_other_host_while_terms_were_agreed_with_one(owner_client, owner, mill, noon):
    location = LocationFactory(host=mill)
    who = {"by": owner, "at": noon, "received_at": noon}
    agreement = Agreement.objects.create(location=location, starts_on=date(2026, 1, 1), **who)
    form = typed(name=location.name, new_host="Tide Street Arcade")
    refused = owner_client.post(reverse("location-edit", args=[location.pk]), form)
    location.refresh_from_db()
    assert (refused.status_code, location.host, Host.objects.count()) == (422, mill, 1)
    assert "Terms were agreed with Old Mill Bakery" in refused.content.decode()
    Agreement.objects.filter(pk=agreement.pk).update(withdrawn_at=noon, withdrawn_by=owner)
    owner_client.post(reverse("location-edit", args=[location.pk]), form)
    location.refresh_from_db()
    assert location.host == Host.objects.get(name="Tide Street Arcade")


def test_closed_location_leaves_the_list_and_can_be_opened_again(owner_client):
    location = LocationFactory()
    owner_client.post(reverse("location-close", args=[location.pk]))
    location.refresh_from_db()
    assert location.closed_on is not None
    assert list(owner_client.get(reverse("locations")).context["table"].rows) == []
    assert list(owner_client.get(reverse("locations"), {"closed": "1"}).context["table"].rows) == [location]
    owner_client.post(reverse("location-reopen", args=[location.pk]))
    location.refresh_from_db()
    assert location.closed_on is None


def test_location_with_a_cabinet_cannot_be_closed(owner_client):
    location = PlacementFactory(location__name="Mill Lane").location
    owner_client.post(reverse("location-close", args=[location.pk]))
    location.refresh_from_db()
    assert location.closed_on is None
    said = [str(message) for message in owner_client.get(reverse("locations")).context["messages"]]
    assert said == ["Mill Lane stays open: a cabinet stands there. End each placement first."]


def test_closing_twice_keeps_the_first_day(owner_client):
    location = LocationFactory(closed_on=date(2026, 3, 1))
    owner_client.post(reverse("location-close", args=[location.pk]))
    location.refresh_from_db()
    assert location.closed_on == date(2026, 3, 1)


@pytest.mark.parametrize("name", ["location-edit", "location-hours"])
@pytest.mark.parametrize("pk", [0, 987654, 10**30])
def test_unknown_numbers_are_not_found(owner_client, name, pk):
    assert owner_client.get(reverse(name, args=[pk])).status_code == 404


@pytest.mark.parametrize(
    ("latitude", "longitude"), [("1", None), (None, "1"), ("91", "0"), ("0", "181"), ("0", "-181")]
)
def test_database_refuses_half_a_place_and_places_off_the_earth(db, latitude, longitude):
    with pytest.raises(IntegrityError), transaction.atomic():
        LocationFactory(latitude=latitude, longitude=longitude)


def test_database_holds_one_location_of_a_name(db):
    LocationFactory(name="Mill Lane")
    with pytest.raises(IntegrityError), transaction.atomic():
        LocationFactory(name="Mill Lane")


def test_address_fragment_opens_the_phone_s_map_and_says_how_to_get_in(db):
    location = LocationFactory(latitude="38.722300", longitude="-9.139300", access_notes="Ring twice.")
    location.refresh_from_db()
    shown = render_to_string("locations/sites/_address.html", {"location": location})
    assert 'href="geo:38.722300,-9.139300"' in shown  # the form of RFC 5870, from memory
    assert "Ring twice." in shown


def test_hours_fragment_says_whether_it_is_open(rf, owner, noon):
    request = rf.get("/")
    request.user = owner
    location = LocationFactory()
    OpeningHours.objects.create(location=location, weekday=0, opens=time(9), closes=time(18))
    week, is_open = queries.hours_by_day(location), queries.open_now(location, noon)  # noon is a Monday
    context = {"location": location, "days": week, "open_now": is_open}
    shown = render_to_string("locations/sites/_hours.html", context, request)
    assert ("Open now" in shown, "09:00–18:00" in shown) == (True, True)
