"""Plans: asked for on a page, compared with what people drive today, taken into use; and input no plan can use."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import UUID

import pytest
from django.db import connection
from django.urls import reverse

from routeapp.kit.errors import Refused
from routeapp.models import Pin, Proposal, Round, RoundPlan
from routeapp.planning import actions_changes, actions_plan, actions_rounds, queries_problem, queries_proposal
from routeapp.planning.actions_crew import pin
from routeapp.planning.models_rounds import Driver
from routeapp.planning.queries_problem import at_once, with_cabinets
from routeapp.planning.rules_result import as_json
from tests.planning.cast import DAY, MONDAY, a_round, visited

pytestmark = pytest.mark.django_db


def proposal(route, *, number=1, days=2, drivers=None, vary_cents=0, first_day=DAY):
    said = {"first_day": first_day, "days": days, "vary_cents": vary_cents, "seconds": 1}
    drivers = list(Driver.objects.filter(person=route.hand)) if drivers is None else drivers
    actions_plan.start(uuid=UUID(int=number), drivers=drivers, by=route.owner, at=MONDAY, **said)
    return Proposal.objects.get(pk=UUID(int=number))


def shown(one):
    return queries_proposal.shown(one, MONDAY, "America/Chicago")


def served(one):
    return {stop.location.name for line in shown(one).routes for stop in line.stops}


def left(one):
    return {str(location): why.reason for location, why in shown(one).left}


def test_plan_is_asked_for_looked_at_and_taken_into_use(route, owner_client, monday):
    page = owner_client.get(reverse("plan-start"))
    form = {name: page.context["form"][name].value() for name in ("uuid", "days")}
    drivers = [one.pk for one in Driver.objects.all()]
    answer = owner_client.post(
        reverse("plan-start"), {**form, "first_day": DAY, "drivers": drivers, "vary_cents": "", "seconds": 1}
    )
    assert answer.status_code == 302
    assert b"Take it into use" in owner_client.get(answer.url).content
    owner_client.post(reverse("plan-use", args=[form["uuid"]]))
    assert {stop.location.name for plan in RoundPlan.objects.all() for stop in plan.stops.all()} == {
        "Pier hall", "Lamp arcade", "Kite café", "Gull baths", "Far farm",
    }  # fmt: skip


def test_plan_taken_into_use_twice_makes_its_rounds_once(route):
    one = proposal(route)
    made = [actions_rounds.use_proposal(proposal=one, by=route.owner, at=MONDAY) for _ in range(2)]
    assert made[0] == made[1]
    assert Round.objects.count() == len(made[0])


def test_newer_plan_is_a_new_version_and_drops_rounds_it_leaves_out(route):
    a_round(route, route.places[:1])
    a_round(route, route.places[1:2], day=DAY + timedelta(days=1), number=2)
    one = proposal(route)
    used = actions_rounds.use_proposal(proposal=one, by=route.owner, at=MONDAY)
    kept = Round.objects.filter(dropped_at=None)
    assert set(kept) == set(used)
    assert kept.first().plans.first().number == 2


def test_round_on_the_road_is_left_alone(route):
    one = a_round(route, route.places[:2])
    visited(route, route.places[0], MONDAY + timedelta(hours=2), number=90)
    plan = proposal(route)
    actions_rounds.use_proposal(proposal=plan, by=route.owner, at=MONDAY + timedelta(hours=3))
    assert one.plans.count() == 1


def test_plan_earns_no_less_than_driving_on_as_today(route):
    for week in range(1, 5):
        for number, place in enumerate(route.places):
            at = MONDAY - timedelta(weeks=week) + timedelta(hours=4, minutes=40 * number)
            visited(route, place, at, number=100 * week + number)
    one = shown(proposal(route, days=5))
    assert one.fixed.visits == 5
    assert one.more >= 0


def test_plan_varied_costs_no_more_than_stated(route):
    for week in range(1, 5):
        for number, place in enumerate(route.places):
            at = MONDAY - timedelta(weeks=week) + timedelta(hours=2, minutes=40 * number)
            visited(route, place, at, number=100 * week + number)
    plain, varied = proposal(route), proposal(route, number=2, vary_cents=500)
    assert shown(plain).varied is None
    assert 0 <= (shown(varied).varied or 0) <= 500
    assert served(varied) == served(plain)


def test_pins_are_kept_to(route):
    pin(location=route.places[0], wish="not_before", day=DAY + timedelta(days=9), by=route.owner, at=MONDAY)
    assert "Pier hall" not in served(proposal(route))
    pin(location=route.places[0], wish="must", day=DAY, by=route.owner, at=MONDAY)
    one = shown(proposal(route, number=2))
    assert [line.route.day for line in one.routes for stop in line.stops if stop.location == route.places[0]] == [DAY]
    assert Pin.objects.live().count() == 1


def test_places_no_plan_can_use_are_left_with_words(route):
    nowhere, closed, twin = route.places[:3]
    nowhere.latitude = nowhere.longitude = None
    nowhere.save()
    closed.opening_hours.exclude(weekday=6).delete()  # open on Sundays only
    twin.latitude, twin.longitude = route.places[3].latitude, route.places[3].longitude
    twin.save()
    one = proposal(route)
    assert served(one) == {"Kite café", "Gull baths", "Far farm"}
    assert set(left(one)) == {"Pier hall", "Lamp arcade"}
    assert all(left(one).values())


def test_place_without_coordinates_leads_to_where_they_are_written_down(route, owner_client, monday):
    nowhere = route.places[0]
    nowhere.latitude = nowhere.longitude = None
    nowhere.save()
    page = owner_client.get(reverse("plan", args=[proposal(route).pk])).content.decode()

    links = [reverse("location-edit", args=[nowhere.pk]), f"{reverse('pins')}?location={nowhere.pk}"]
    assert [page.count(f'href="{link}"') for link in links] == [1, 0]


def test_van_without_room_is_said_and_the_rest_planned(route):
    route.vehicle.pieces = 0
    route.vehicle.save()
    one = proposal(route)
    assert served(one) | set(left(one)) == {place.name for place in route.places}
    assert all(left(one).values())


def test_one_stop_is_a_round(route):
    for place in route.places[1:]:
        place.closed_on = date(2026, 1, 1)
        place.save()
    assert served(proposal(route)) == {"Pier hall"}


def test_unknown_hours_are_said(route):
    route.places[0].opening_hours.all().delete()
    one = proposal(route)
    assert shown(one).remarks == ["Nobody wrote down when it is open: the plan takes any time. Pier hall."]


def test_nobody_with_a_shift_is_a_plan_of_nothing_with_words(route, owner_client):
    one = proposal(route, first_day=date(2026, 6, 6))  # a Saturday
    assert (shown(one).routes, len(left(one))) == ([], 5)
    assert b"Take it into use" not in owner_client.get(reverse("plan", args=[one.pk])).content


@pytest.mark.parametrize(
    ("field", "value"),
    [("first_day", "2026-05-31"), ("first_day", "9999-12-31"), ("days", "0"), ("days", "99"), ("vary_cents", "99999")],
)
def test_plan_of_nonsense_is_refused_with_words(route, owner_client, monday, field, value):
    form = {"uuid": str(UUID(int=7)), "first_day": str(DAY), "days": "3", "drivers": [1], "seconds": "1"}
    answer = owner_client.post(reverse("plan-start"), {**form, field: value})
    assert (answer.status_code, Proposal.objects.count()) == (422, 0)
    assert answer.context["form"].errors[field]


def test_plan_that_thinks_says_so_and_one_whose_server_ended_too(route, owner_client, monday, monkeypatch):
    from routeapp.kit import clock

    one = Proposal.objects.create(uuid=UUID(int=1), by=route.owner, at=MONDAY, first_day=DAY, days=2)
    address = reverse("plan", args=[one.pk])
    assert b'hx-trigger="every' in owner_client.get(address).content
    monkeypatch.setattr(clock, "now", lambda: MONDAY + timedelta(minutes=5))
    assert b"The server ended while it thought" in owner_client.get(address).content
    Proposal.objects.update(result={"began": (MONDAY + timedelta(minutes=4)).isoformat()})
    assert b'hx-trigger="every' in owner_client.get(address).content


@pytest.mark.django_db(transaction=True)
def test_first_plan_stands_before_roads_and_forecasts_are_asked_for(route, road_server):
    """A road server takes its time, and so do forecasts after a start of the server."""
    for week in range(1, 4):
        for number, place in enumerate(route.places):
            at = MONDAY - timedelta(weeks=week) + timedelta(hours=3, minutes=30 * number)
            visited(route, place, at, number=100 * week + number)
    seen = []

    def look():
        one = shown(Proposal.objects.get())
        seen.append(([str(stop.location) for line in one.routes for stop in line.stops], one.can_be_used))
        connection.close()

    road_server.meanwhile = look
    proposal(route, days=7)
    assert seen == [(["Pier hall", "Lamp arcade", "Kite café", "Gull baths", "Far farm"], True)]


def test_plan_taken_into_use_while_it_is_thought_out_ends_with_that(route, owner_client, monday):
    one = proposal(route)
    Proposal.objects.update(state="thinking")
    assert b"Take this one into use" in owner_client.get(reverse("plan", args=[one.pk])).content
    owner_client.post(reverse("plan-use", args=[one.pk]))
    rounds = Round.objects.count()
    actions_plan._think(one, MONDAY)
    assert ("better" in one.result, Proposal.objects.get().state) == (False, "used")
    assert (rounds, bool(shown(Proposal.objects.get()).routes)) == (1, True)


def as_it_begins(route):
    """A plan for which nothing was forecast yet."""
    for number, place in enumerate(route.places):
        visited(route, place, MONDAY - timedelta(days=7) + timedelta(hours=3, minutes=30 * number), number=90 + number)
    drivers, days = list(Driver.objects.filter(person=route.hand)), [DAY, DAY + timedelta(days=1)]
    begins = at_once(drivers, days, MONDAY, "America/Chicago", with_cabinets())
    result = {"plan": as_json(begins), "is_as_today": True}
    return Proposal.objects.create(uuid=UUID(int=1), by=route.owner, at=MONDAY, first_day=DAY, days=2, result=result)


def test_round_of_a_plan_without_forecasts_keeps_its_stops_when_planned_anew(route):
    [one] = actions_rounds.use_proposal(proposal=as_it_begins(route), by=route.owner, at=MONDAY)
    stops = actions_changes.replan_rest(round=one, by=route.owner, at=MONDAY).stops
    assert (stops.count(), stops.filter(value_cents=0).count()) == (5, 0)


def test_plan_without_forecasts_says_that_they_come_as_long_as_it_thinks(route, owner_client, monday):
    one = as_it_begins(route)
    address, words = reverse("plan", args=[one.pk]), b"What visits are worth is being worked out."
    assert words in owner_client.get(address).content
    actions_rounds.use_proposal(proposal=one, by=route.owner, at=MONDAY)
    assert words not in owner_client.get(address).content


def test_plan_without_forecasts_leaves_out_what_is_not_to_be_visited_yet(route):
    pin(location=route.places[0], wish="not_before", day=DAY + timedelta(days=9), by=route.owner, at=MONDAY)
    assert served(as_it_begins(route)) == {place.name for place in route.places[1:]}


def test_plan_that_broke_off_is_not_taken_into_use(route):
    one = as_it_begins(route)
    Proposal.objects.update(state="failed")
    with pytest.raises(Refused, match=r"^This plan broke off\. Plan anew\.$"):
        actions_rounds.use_proposal(proposal=one, by=route.owner, at=MONDAY)


def test_same_question_asked_twice_is_one_plan(route):
    proposal(route)
    proposal(route)
    assert Proposal.objects.count() == 1


def test_driver_is_written_down_with_shifts_and_mended(route, owner_client):
    address = reverse("crew-edit", args=[route.owner.pk])
    form = {
        "start_name": "Home", "start_latitude": "41.5", "start_longitude": "-87.5", "cents_per_hour": "20",
        "starts1": "09:00", "ends1": "12:30",
    }  # fmt: skip
    assert owner_client.post(address, {**form, "ends1": "08:00"}).status_code == 422
    assert owner_client.post(address, {**form, "start_longitude": ""}).status_code == 422
    assert owner_client.post(address, form).status_code == 302
    driver = Driver.objects.get(person=route.owner)
    assert (driver.start_latitude, driver.cents_per_hour) == (Decimal("41.5"), 2000)
    assert [(one.weekday, f"{one.starts:%H:%M}") for one in driver.shifts.all()] == [(1, "09:00")]


def test_what_a_visit_costs_is_learned_from_everybody_and_every_day(route, monkeypatch):
    for week in range(1, 9):
        for number, days in ((0, 0), (4, 1)):  # one place on Mondays, another on Tuesdays
            at = MONDAY - timedelta(weeks=week) + timedelta(days=days)
            visited(route, route.places[number], at, number=10 * week + number)
    borne = []
    monkeypatch.setattr(queries_problem, "worth", lambda seen, bears, *rest: borne.append(bears) or {})
    hand, boss = (Driver.objects.get(person=person) for person in (route.hand, route.owner))
    for drivers, days in (([hand, boss], 5), ([hand], 1), ([boss], 1)):
        days = [DAY + timedelta(days=number) for number in range(days)]
        queries_problem.asked(drivers, days, MONDAY, "America/Chicago", queries_problem.with_cabinets())

    assert borne[1] == borne[2] == borne[0]
    assert len(set(borne[0][route.places[4].pk])) < len(borne[0][route.places[1].pk])
