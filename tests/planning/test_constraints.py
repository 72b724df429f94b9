"""What the database itself refuses about rounds, and lists that ask as often for many rows as for one."""

from datetime import time, timedelta
from decimal import Decimal
from functools import partial
from uuid import UUID

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from routeapp.models import CalendarLink, Driver, DrivingCost, Pin, Round, RoundPlan, RoundStop, Shift
from routeapp.planning import queries_proposal
from routeapp.planning.actions_crew import pin
from routeapp.planning.models_rounds import Proposal
from routeapp.planning.rules_drive import follow
from routeapp.planning.rules_plan import Place, Problem, Worker
from routeapp.planning.rules_result import as_json
from tests.planning.cast import DAY, MONDAY, a_round

pytestmark = pytest.mark.django_db


def half_an_end(route):
    Driver.objects.filter(person=route.hand).update(end_latitude=Decimal("41.9"))


def shift_backwards(route):
    Shift.objects.create(driver=Driver.objects.get(person=route.hand), weekday=6, starts=time(9), ends=time(8))


def ninth_weekday(route):
    Shift.objects.create(driver=Driver.objects.get(person=route.hand), weekday=8, starts=time(8), ends=time(9))


def second_shift(route):
    Shift.objects.create(driver=Driver.objects.get(person=route.hand), weekday=0, starts=time(18), ends=time(19))


def two_costs_before_one_day(route):
    for cents in (2_000, 3_000):
        said = {"before": DAY, "cents_per_hour": cents, "cents_per_km": 0}
        DrivingCost.objects.create(driver=Driver.objects.get(person=route.hand), **said)


def second_pin(route):
    said = {"location": route.places[0], "day": DAY, "by": route.owner, "at": MONDAY, "received_at": MONDAY}
    for wish in ("must", "not_before"):
        Pin.objects.create(wish=wish, **said)


def second_link(route):
    for token in ("a", "b"):
        CalendarLink.objects.create(person=route.hand, token=token, by=route.owner, at=MONDAY)


def dropped_by_nobody(route):
    a_round(route)
    Round.objects.update(dropped_at=MONDAY)


def plan_backwards(route):
    RoundPlan.objects.filter(round=a_round(route)).update(ends_at=MONDAY - timedelta(days=1))


def same_version_twice(route):
    plan = a_round(route).plans.get()
    plan.pk = None
    plan.save(force_insert=True)


def same_place_twice(route):
    RoundStop.objects.filter(plan__round=a_round(route)).update(place=1)


def same_location_twice(route):
    RoundStop.objects.filter(plan__round=a_round(route)).update(location=route.places[0])


@pytest.mark.parametrize(
    "wrong",
    [
        *(half_an_end, shift_backwards, ninth_weekday, second_shift, second_pin, second_link, dropped_by_nobody),
        *(plan_backwards, same_version_twice, same_place_twice, same_location_twice, two_costs_before_one_day),
    ],
)
def test_database_refuses(route, wrong):
    with pytest.raises(IntegrityError), transaction.atomic():
        wrong(route)


def queries(work):
    work()  # what is kept between requests is there now
    with CaptureQueriesContext(connection) as asked:
        work()
    return len(asked)


def test_list_of_pins_asks_as_often_for_three_as_for_one(route, owner_client, monday):
    def look():
        return owner_client.get(reverse("pins"))

    pin(location=route.places[0], wish="must", day=DAY, by=route.owner, at=MONDAY)
    one = queries(look)
    for place in route.places[1:3]:
        pin(location=place, wish="must", day=DAY, by=route.owner, at=MONDAY)
    assert queries(look) == one


def test_round_of_three_stops_asks_as_often_as_one_of_one(route, owner_client, monday):
    a_round(route, route.places[3:4], number=3)  # takes from the store before both
    one = a_round(route, route.places[:1], day=DAY + timedelta(days=1))
    three = a_round(route, day=DAY + timedelta(days=2), number=2)
    for name in ("round", "round-load", "round-sheet", "round-end", "round-change"):
        counts = [queries(partial(owner_client.get, reverse(name, args=[each.pk]))) for each in (one, three)]
        assert counts[0] == counts[1], name


def test_plan_of_three_stops_asks_as_often_as_one_of_one(route):
    def shown(many):
        days = {DAY: ((0, 1440),)}
        places = tuple(Place(place.pk, 41.9, -87.6, days, 10, {DAY: 900}) for place in route.places[:many])
        problem = Problem(places, (Worker(route.hand.pk, DAY, (480, 960)),))
        plan = follow(problem, {(route.hand.pk, DAY): [place.id for place in places]})
        result = {"plan": as_json(plan), "fixed": as_json(plan)}
        one = Proposal(uuid=UUID(int=9), by=route.owner, at=MONDAY, first_day=DAY, days=1, result=result)
        return queries(lambda: queries_proposal.shown(one, MONDAY, "America/Chicago"))

    assert shown(1) == shown(3)


def test_today_leads_to_the_round_of_the_day(route, hand_client, monday):
    one = a_round(route)
    page = hand_client.get("/").content.decode()
    assert "Next Pier hall at 09:00; 0 of 3 stops made." in page
    assert reverse("round", args=[one.pk]) in page
