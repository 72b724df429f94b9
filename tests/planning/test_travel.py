"""Ways between stops: our own measurements, a road server where one is configured, and words where it fails."""

import json
from datetime import timedelta

import pytest

from routeapp.planning import queries_driven, queries_travel
from routeapp.planning.rules_plan import Leg
from tests.planning.cast import MONDAY, visited

POINTS = [(41.9, -87.6, "start"), (41.92, -87.6, 1), (41.94, -87.6, 2), (None, None, 3)]


def table(code="Ok"):
    rows = [[0, 60, 120], [61, 0, 62], [121, 63, None]]
    metres = [[one and one * 10 for one in row] for row in rows]
    return json.dumps({"code": code, "durations": rows, "distances": metres})


def test_server_is_asked_once_for_all_located_points(road_server):
    road_server.says = table()
    travel, said = queries_travel.travel(POINTS, {})
    assert (said, len(road_server.asked)) == ("", 1)
    assert road_server.asked[0] == (
        "/table/v1/driving/-87.6,41.9;-87.6,41.92;-87.6,41.94?annotations=duration,distance"
    )
    assert travel.legs["start", 1] == Leg(600, 60)


def test_own_measurement_wins_over_the_server(road_server):
    road_server.says = table()
    travel, _ = queries_travel.travel(POINTS, {(1, 2): 300})
    assert travel.legs[1, 2] == Leg(620, 300)


@pytest.mark.parametrize(
    ("status", "says"),
    [
        *((500, "{}"), (200, "not json"), (200, "{}"), (200, "[]"), (200, table("NoTable"))),
        (200, '{"code": "Ok", "durations": [], "distances": []}'),
    ],
)
def test_failing_server_is_done_without_and_said(road_server, status, says):
    road_server.status, road_server.says = status, says
    travel, said = queries_travel.travel(POINTS, {})
    assert (travel.legs, said) == ({}, queries_travel.NO_SERVER)


def test_server_that_is_not_there_is_done_without(settings):
    settings.ROAD_SERVER = "http://127.0.0.1:9"
    assert queries_travel.travel(POINTS, {})[1] == queries_travel.NO_SERVER


@pytest.mark.parametrize("address", ["", "ftp://roads.example", "file:///etc"])
def test_nothing_but_a_web_address_is_ever_asked(settings, monkeypatch, address):
    settings.ROAD_SERVER = address
    monkeypatch.setattr(queries_travel, "urlopen", lambda *_, **__: pytest.fail("a server was asked"))
    assert queries_travel.travel(POINTS, {})[0].legs == {}


@pytest.mark.django_db
def test_ways_and_minutes_are_learned_from_visits(route):
    for week in range(1, 5):
        start = MONDAY - timedelta(weeks=week) + timedelta(hours=3)
        visited(route, route.places[0], start, number=10 * week, minutes=25)
        visited(route, route.places[1], start + timedelta(minutes=25 + 9 + week), number=10 * week + 1, minutes=15)
    past = queries_driven.driven(MONDAY)
    assert queries_driven.legs(past) == {(route.places[0].pk, route.places[1].pk): 11 * 60 + 30}
    pace = queries_driven.pace(past)
    work = past[0].work
    assert pace.minutes(work, route.places[0].pk) > pace.minutes(work, route.places[1].pk)
