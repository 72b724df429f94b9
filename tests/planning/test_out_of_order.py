"""A cabinet out of order: what waiting for it costs, and which days are no days of play."""

import re
import uuid

import pytest
from django.urls import reverse

from locations.placements.queries import standing
from machines.cabinets.actions import change_status
from machines.faults.actions import report_fault
from routeapp.kit import clock
from routeapp.planning.queries_due import due
from routeapp.planning.queries_intervals import histories
from routeapp.planning.queries_outlook import outlook
from tests.earnings import story

pytestmark = pytest.mark.django_db

NOW = story.utc(20, 12)


@pytest.fixture
def route(owner):
    """C3 is played 40 times a day."""
    made = story.make_route(owner)
    for day in (1, 6, 12, 18):
        one = story.entry(made, 3, reading=100 + 40 * (day - 1), cents=100, loaded=60)
        story.visit(made, made.cafe, story.utc(day, 10), one)
    return made


def test_cabinet_out_of_order_loses_all_of_it_until_it_is_in_order(route, owner):
    facts = {"machine": route.meters[2].machine, "by": owner, "received_at": NOW}
    change_status(status="out_of_order", note="Belt slipped.", at=story.utc(19, 8), **facts)

    found = next(one for one in due(NOW) if one.location == route.cafe)
    assert [reason.words for reason in found.reasons if reason.bad] == ["C3 is out of order: Belt slipped."]
    assert (found.state, found.cents > 1_000) == ("now", True)

    change_status(status="placed", at=story.utc(19, 18), **facts)
    history = outlook(NOW).histories[outlook(NOW).row[route.meters[2].machine.pk]]
    assert history.stopped is None


def test_days_out_of_order_are_no_days_of_play_unless_it_was_played_all_the_time(route, owner):
    facts = {"machine": route.meters[2].machine, "by": owner, "received_at": NOW}
    change_status(status="out_of_order", at=story.utc(7, 10), **facts)
    change_status(status="placed", at=story.utc(9, 10), **facts)
    found = histories(standing().filter(machine=route.meters[2].machine), NOW)[route.meters[2].machine.pk]
    assert [round(look.down, 3) for look in found.looks] == [0, 0, 2, 0]

    change_status(status="out_of_order", at=story.utc(12, 9), **facts)  # and nobody said that it was mended
    found = histories(standing().filter(machine=route.meters[2].machine), NOW)[route.meters[2].machine.pk]
    assert ([round(look.down, 3) for look in found.looks], found.stopped) == ([0, 0, 2.042, 0], None)


def test_player_s_report_counts_until_the_meter_tells_otherwise_and_says_whose_word_it_is(
    route, owner_client, monkeypatch
):
    machine = route.meters[2].machine

    def of_c3(now=NOW):
        return outlook(now).histories[outlook(now).row[machine.pk]]

    report = report_fault(
        uuid=uuid.uuid4(), machine=machine, text="Screen is dark.", about="lost_money", via="label", stops_play=True,
        by=None, at=story.utc(15, 8), received_at=NOW,
    )  # fmt: skip
    found = next(one for one in due(NOW) if one.location == route.cafe)
    words = "C3: a player reports that nobody can play, Screen is dark."
    assert [(reason.words, reason.cents > 1_000) for reason in found.reasons if reason.bad] == [(words, True)]
    assert (of_c3().stopped, of_c3().stopped_why) == (report.at, "a player reports that nobody can play")
    assert ([(look.empty, look.down) for look in of_c3().looks], of_c3().faults) == (
        [(False, 0), (False, 0), (False, 0), (True, 0)], 0,
    )  # fmt: skip

    story.visit(route, route.cafe, story.utc(20, 13), story.entry(route, 3, reading=860, cents=100))  # it was played
    later = of_c3(story.utc(20, 14))
    assert (later.stopped, [(look.empty, look.down) for look in later.looks][3:]) == (None, [(True, 0), (False, 0)])


def test_page_says_how_often_it_would_be_played(route, owner_client, monkeypatch):
    report_fault(
        uuid=uuid.uuid4(), machine=route.meters[2].machine, text="Dark", via="label", stops_play=True, by=None,
        at=story.utc(18, 11), received_at=NOW,
    )  # fmt: skip
    monkeypatch.setattr(clock, "now", lambda: NOW)
    page = re.sub(r"<[^>]+>", "", owner_client.get(reverse("cabinet-forecast", args=["C3"])).text)
    said = re.search(r"a player reports that nobody can play. It would be played about (\d+) times a day.", page)
    assert said is not None
    assert 30 <= int(said[1]) <= 45
