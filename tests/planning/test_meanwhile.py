"""What others do to a round while ways are asked for and orders are searched: it is not lost, and nobody waits."""

import threading
from uuid import UUID

import pytest
from django.db import connection, transaction

from routeapp.kit.errors import Refused
from routeapp.kit.sqlite3 import base
from routeapp.models import Place, Proposal, Round
from routeapp.planning import actions_changes, actions_plan, actions_rounds
from routeapp.planning.models_rounds import Driver
from tests.planning.cast import DAY, MONDAY, a_round

pytestmark = pytest.mark.django_db(transaction=True)


def test_round_dropped_while_the_rest_is_planned_stays_dropped(route, road_server):
    one = a_round(route)

    def drop():
        actions_rounds.drop_round(round=one, because="The van is broken", by=route.owner, at=MONDAY)
        connection.close()

    road_server.meanwhile = drop
    with pytest.raises(Refused, match="was dropped meanwhile"):
        actions_changes.replan_rest(round=one, by=route.owner, at=MONDAY)
    assert (Round.objects.get().dropped_because, one.plans.count()) == ("The van is broken", 1)


def test_rest_planned_anew_twice_at_once_is_planned_once(route, road_server, settings):
    one = a_round(route)
    said = {"round": one, "by": route.owner, "at": MONDAY}
    first = []

    def again():
        settings.ROAD_SERVER = ""
        first.append(actions_changes.replan_rest(**said))
        connection.close()

    road_server.meanwhile = again
    assert [actions_changes.replan_rest(**said)] == first
    assert one.plans.count() == 2


def test_round_changed_by_two_keeps_the_change_that_came_first(route, road_server, settings):
    one = a_round(route)
    said = {"round": one, "pinned": (), "by": route.owner, "at": MONDAY}

    def change():
        settings.ROAD_SERVER = ""
        actions_changes.change_round(order=[route.places[3].pk], **said)
        connection.close()

    road_server.meanwhile = change
    with pytest.raises(Refused, match="changed meanwhile"):
        actions_changes.change_round(order=[route.places[1].pk], **said)
    assert [stop.location for stop in one.plans.first().stops.all()] == [route.places[3]]


@pytest.mark.sqlite_only
def test_plan_stands_also_where_others_write_for_long(route, road_server, monkeypatch):
    monkeypatch.setitem(connection.settings_dict["OPTIONS"], "timeout", 0)
    monkeypatch.setattr(base, "PATIENCE", 0.2)
    connection.close()
    writes, over = threading.Event(), threading.Event()

    def write():
        with transaction.atomic():
            Place.objects.create(kind="store", name="Shed")
            writes.set()
            over.wait(0.5)
        connection.close()

    def others():
        if not writes.is_set():
            threading.Thread(target=write).start()
            writes.wait()

    road_server.meanwhile = others
    asked = {"first_day": DAY, "days": 1, "drivers": list(Driver.objects.all()), "vary_cents": 0, "seconds": 1}
    actions_plan.start(uuid=UUID(int=1), **asked, by=route.owner, at=MONDAY)
    assert Proposal.objects.get().state == "ready"
    connection.close()
