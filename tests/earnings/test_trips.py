"""What a day on the road costs: its kilometres and hours, at what those cost on that day, by what they were for."""

from collections import Counter
from datetime import date, timedelta

import pytest
from django.db.models import F
from django.urls import reverse

from routeapp.earnings.queries_profit import Profit
from routeapp.earnings.rules_profit import Part
from routeapp.kit import clock
from routeapp.planning.actions_crew import save_driver, save_vehicle
from routeapp.planning.models_rounds import Driver, Vehicle
from routeapp.planning.rules_plan import Travel
from routeapp.planning.rules_travel import matrices
from routeapp.visits.models import Visit
from tests.earnings import story
from tests.earnings.test_profit import MARCH, rows

pytestmark = pytest.mark.django_db


@pytest.fixture
def route(owner):
    return story.tell(owner)


def test_trips_are_borne_by_what_they_were_for(route):
    # No coordinates: no kilometres and no driving, only the 15 minutes of each visit at 20.00 an hour.
    Driver.objects.create(
        person=route.person, start_name="Store", start_latitude=41, start_longitude=-87, cents_per_hour=2_000
    )

    found = {name: one.of(Part.TRIPS) for name, one in rows("cabinet").items()}

    # 5.00 a visit: C1 had one of its own and three with C2, at 2.50 each; C3 had one.
    assert found == {"C1": -1_250, "C2": -750, "C3": -500}


def test_visit_written_down_days_later_costs_no_days(route):
    Visit.objects.update(departed_at=F("at") + timedelta(days=29))
    Driver.objects.create(
        person=route.person, start_name="Store", start_latitude=41, start_longitude=-87, cents_per_hour=2_000
    )

    assert {name: one.of(Part.TRIPS) for name, one in rows("cabinet").items()} == {"C1": 0, "C2": 0, "C3": 0}


def test_ways_cost_kilometres_and_time_at_the_wheel(route):
    route.cafe.latitude, route.cafe.longitude = "38.7", "-9.14"
    route.cafe.save()
    van = Vehicle.objects.create(name="Van", pieces=500, cents_per_km=100)
    Driver.objects.create(
        person=route.person,
        vehicle=van,
        start_name="Store",
        start_latitude="38.8",
        start_longitude="-9.14",
        cents_per_hour=0,
    )

    (trip,) = [one for one in Profit(MARCH, "UTC").amounts if one.part == Part.TRIPS and one.location == route.cafe.pk]
    metres, _ = matrices([(38.8, -9.14, "store"), (38.7, -9.14, "café")], Travel())

    assert trip.cents == -round(2 * int(metres[0, 1]) / 10)
    assert trip.what == f"{metres[0, 1] * 2 / 1000:,.1f} km and 15 minutes there, of Ines's day"


def test_trips_keep_what_an_hour_cost_on_their_day(route, owner_client):
    van = save_vehicle(vehicle=None, name="Van", pieces=500, cents_per_km=0, by=route.person, at=story.RECEIVED)
    start = {"start_name": "Store", "start_latitude": "41", "start_longitude": "-87"}
    said = {"person": route.person, "hours": {}, "vehicle": van, "by": route.person, "at": story.RECEIVED} | start
    driver = save_driver(cents_per_hour=2_000, **said)
    form = {**start, "vehicle": van.pk, "cents_per_hour": "40.00", "since": "2026-03-10"}
    for _ in range(2):
        owner_client.post(reverse("crew-edit", args=[route.person.pk]), form)

    def costs():
        found = Counter()
        for one in Profit(MARCH, "UTC").amounts:
            if one.part == Part.TRIPS:
                found[one.day.day] -= one.cents
        return found

    assert costs() == {2: 500, 9: 500, 10: 1_000, 15: 1_000, 18: 1_000}
    save_driver(cents_per_hour=8_000, since=date(2026, 3, 9), **said)
    assert costs() == {2: 500, 9: 2_000, 10: 2_000, 15: 2_000, 18: 2_000}
    save_vehicle(vehicle=van, name="Van", cents_per_km=10, since=date(2026, 3, 16), by=route.person, at=story.RECEIVED)
    assert list(driver.past_costs.values_list("before", "cents_per_hour", "cents_per_km")) == [
        (date(2026, 3, 9), 2_000, 0),
        (date(2026, 3, 16), 8_000, 0),
    ]


def test_costs_from_a_day_to_come_are_refused(owner, owner_client, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: story.RECEIVED)
    start = {"start_name": "Store", "start_latitude": "41", "start_longitude": "-87"}
    said = {"person": owner, "hours": {}, "by": owner, "at": story.RECEIVED}
    driver = save_driver(cents_per_hour=2_000, **start, **said)
    van = save_vehicle(vehicle=None, name="Van", pieces=500, cents_per_km=0, by=owner, at=story.RECEIVED)
    pages = {
        reverse("crew-edit", args=[owner.pk]): {**start, "cents_per_hour": "40.00"},
        reverse("vehicle-edit", args=[van.pk]): {"name": "Van", "pieces": 500, "cents_per_km": "1.00"},
    }
    later = story.RECEIVED.date() + timedelta(days=1)
    for address, form in pages.items():
        answer = owner_client.post(address, {**form, "since": str(later)})
        assert (answer.status_code, list(answer.context["form"].errors)) == (422, ["since"])
    driver.refresh_from_db()
    van.refresh_from_db()
    assert (driver.cents_per_hour, van.cents_per_km) == (2_000, 0)


def test_costs_that_are_saved_already_can_hold_from_an_earlier_day(owner, owner_client):
    who = {"by": owner, "at": story.RECEIVED}
    van = save_vehicle(vehicle=None, name="Van", pieces=500, cents_per_km=0, **who)
    start = {"start_name": "Store", "start_latitude": "41", "start_longitude": "-87"}
    for cents in (2_000, 4_000):
        driver = save_driver(person=owner, hours={}, vehicle=van, cents_per_hour=cents, **start, **who)

    def held_until():
        return list(driver.past_costs.values_list("before", "cents_per_hour"))

    form = {**start, "vehicle": van.pk, "cents_per_hour": "40.00"}
    for since in ("2026-03-10", "2026-03-20", ""):
        owner_client.post(reverse("crew-edit", args=[owner.pk]), {**form, "since": since})
        assert held_until() == [(date(2026, 3, 10), 2_000)]
    owner_client.post(
        reverse("vehicle-edit", args=[van.pk]),
        {"name": "Van", "pieces": 500, "cents_per_km": "0", "since": "2026-03-05"},
    )
    assert held_until() == [(date(2026, 3, 5), 2_000)]


def test_change_of_a_vehicle_leaves_what_somebody_else_changed_meanwhile(owner):
    who = {"by": owner, "at": story.RECEIVED}
    save_vehicle(vehicle=None, name="Van", pieces=500, cents_per_km=0, **who)
    opened = Vehicle.objects.get()
    save_vehicle(vehicle=Vehicle.objects.get(), name="Van", pieces=800, **who)

    save_vehicle(vehicle=opened, name="Van", cents_per_km=10, **who)

    assert Vehicle.objects.values_list("pieces", "cents_per_km").get() == (800, 10)
