"""What Today says needs somebody, and what it leaves in peace."""

import uuid
from datetime import date, timedelta

import pytest
from django.core.cache import caches
from django.urls import reverse

from locations.agreements.actions import add_agreement
from locations.agreements.rules_terms import TermLine
from machines.cabinets.actions import change_status
from machines.faults.actions import fix_fault, report_fault
from routeapp.pages.queries_today import today
from routeapp.planning.actions_due import note_to_do
from tests import factories
from tests.earnings import story

pytestmark = pytest.mark.django_db

NOW = story.utc(20, 12)


def needs(now=NOW):
    """(heading, what) of everything that needs somebody."""
    return [(title, need.what) for title, each in today(now, "UTC").needs for need in each]


def calm_route(person):
    """Three cabinets visited lately, full, with the right money: nothing to do."""
    route = story.make_route(person)
    for number, location in ((1, route.arcade), (2, route.arcade), (3, route.cafe)):
        one = story.entry(route, number, reading=200, cents=10_000, loaded=100)
        story.visit(route, location, story.utc(18, 9 + number), one, name=f"calm {number}")
    return route


def test_nothing_needs_anybody_on_a_calm_day(owner):
    calm_route(owner)

    assert needs() == []
    assert today(NOW, "UTC").week == 30_000


def test_a_visit_is_offered_to_those_who_may_make_one(client, owner, bookkeeper):
    route = calm_route(owner)  # long ago by now, so its cabinets wait for a visit
    start, look = (reverse(name, args=[route.cafe.pk]) for name in ("visit-start", "location"))
    for person, offered in ((owner, True), (bookkeeper, False)):
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        page = client.get("/").content.decode()
        assert [text in page for text in ('href="/locations/">Start a visit', f'"{start}"', f'"{look}">Look')] == [
            offered, offered, not offered,
        ]  # fmt: skip


def test_faults_stand_by_what_they_stop(owner):
    route = calm_route(owner)
    facts = {"by": owner, "at": story.utc(19, 8), "received_at": NOW}
    for number, stops in ((1, False), (2, True)):
        machine = route.meters[number - 1].machine
        report_fault(uuid=uuid.uuid4(), machine=machine, text="Claw hangs", via="host", stops_play=stops, **facts)

    assert needs() == [
        ("Nobody can play", "C2 Harbour Claw"),
        ("Faults and what players report", "C1 Harbour Claw"),
    ]


def test_fixed_fault_is_gone(owner):
    route = calm_route(owner)
    facts = {"by": owner, "at": story.utc(19, 8), "received_at": NOW}
    machine = route.meters[0].machine
    fault = report_fault(uuid=uuid.uuid4(), machine=machine, text="Claw hangs", via="host", **facts)
    fix_fault(fault=fault, how="New cable", **facts)

    assert needs() == []


def test_cabinet_out_of_order_is_named_with_its_reason(owner):
    route = calm_route(owner)
    facts = {"by": owner, "at": story.utc(19, 8), "received_at": NOW}
    change_status(machine=route.meters[0].machine, status="out_of_order", note="Main board burnt out", **facts)

    found = today(NOW, "UTC").needs

    assert [(title, need.why) for title, each in found for need in each] == [
        ("Nobody can play", "Out of order. Main board burnt out")
    ]


@pytest.mark.parametrize(("cents", "named"), [(6_000, True), (9_700, False), (9_699, True), (30_000, False)])
def test_cash_short_by_more_than_a_few_plays_is_named(owner, cents, named):
    route = calm_route(owner)
    story.visit(route, route.arcade, story.utc(19, 9), story.entry(route, 1, reading=300, cents=cents))

    assert (("Cash out of line", "C1") in needs()) is named


def test_cash_out_of_line_rests_after_two_weeks(owner):
    route = calm_route(owner)
    story.visit(route, route.arcade, story.utc(19, 9), story.entry(route, 1, reading=300, cents=5_000))

    assert "Cash out of line" not in [title for title, _ in needs(NOW + timedelta(days=15))]


def test_meter_in_question_asks_for_an_answer(owner):
    route = calm_route(owner)
    story.visit(route, route.arcade, story.utc(19, 9), story.entry(route, 1, reading=150))

    assert needs() == [("Meters in question", "C1")]


def test_sealed_bag_waits_until_counted(owner):
    route = calm_route(owner)
    story.visit(route, route.arcade, story.utc(19, 9), story.entry(route, 1, reading=300, cash=story.sealed("S-1")))

    young = [need for _, each in today(NOW, "UTC").needs for need in each]
    old = [need for title, each in today(NOW + timedelta(days=5), "UTC").needs for need in each if title[:4] == "Bags"]

    assert [(need.what, need.bad) for need in young] == [("Bag S-1", False)]
    assert [(need.what, need.bad) for need in old] == [("Bag S-1", True)]


def test_money_long_on_its_way_to_the_bank_is_named(owner):
    calm_route(owner)

    def late(days):
        return [
            need for title, each in today(NOW + timedelta(days=days), "UTC").needs for need in each if "bank" in title
        ]

    assert late(18) == []
    assert [(need.to, need.bad) for need in late(20)] == [("bag", True)] * 3


def test_cabinet_running_out_of_prizes_is_named(owner):
    route = calm_route(owner)
    for day, left in ((19, 55), (20, 12)):  # 100 loaded on the 18th, 120 fit in
        story.visit(route, route.cafe, story.utc(day, 12), story.entry(route, 3, found=left))

    assert needs() == [("Empty or nearly empty", "C3 at Pier Café")]


def test_cabinet_without_visits_for_four_weeks_is_silent(owner):
    calm_route(owner)

    found = needs(NOW + timedelta(days=30))

    assert [what for title, what in found if title == "Silent cabinets"] == [
        "C1 at Lantern Arcade",
        "C2 at Lantern Arcade",
        "C3 at Pier Café",
    ]


def test_cabinet_nobody_played_is_silent(owner):
    route = calm_route(owner)
    story.visit(route, route.cafe, story.utc(19, 13), story.entry(route, 3, reading=200, cents=0))

    assert needs() == [("Silent cabinets", "C3 at Pier Café")]


def test_cabinet_nobody_played_for_an_hour_is_not_silent(owner):
    route = calm_route(owner)  # visited at noon
    story.visit(route, route.cafe, story.utc(18, 13), story.entry(route, 3, reading=200, cents=0))
    came = story.utc(19, 8)
    route.meters.append(factories.MeterFactory(installed_at=came))
    factories.PlacementFactory(location=route.cafe, machine=route.meters[3].machine, started_at=came)
    story.visit(route, route.cafe, story.utc(19, 9), story.entry(route, 4, reading=0, cents=0, loaded=100))

    assert needs() == []


def test_location_without_agreement_is_named_while_a_cabinet_stands_there(owner):
    calm_route(owner)
    empty, kiosk = factories.LocationFactory(name="Old Mill"), factories.LocationFactory(name="Kiosk")
    factories.PlacementFactory(location=kiosk, started_at=story.utc(19, 9))

    assert ("No agreement", "Kiosk") in needs()
    assert ("No agreement", empty.name) not in needs()


def test_terms_of_a_cabinet_that_left_are_named(owner):
    route = calm_route(owner)
    facts = {"by": owner, "at": NOW, "received_at": NOW, "settled": "month", "paid": "cash"}
    terms = {"terms": [TermLine("share", 5000)], "starts_on": date(2026, 3, 2)}
    for location in (route.cafe, route.arcade):
        add_agreement(location=location, machine=route.meters[2].machine, **terms, **facts)

    assert needs() == [("No agreement", "C3 at Lantern Arcade")]


def test_permit_that_runs_out_is_named(owner):
    route = calm_route(owner)
    said = {"location": route.cafe, "errand": "permit", "text": "City licence", "by": owner, "at": NOW}
    note_to_do(uuid=uuid.uuid4(), by_day=date(2026, 3, 31), **said)
    note_to_do(uuid=uuid.uuid4(), by_day=date(2026, 5, 31), **said)

    assert needs() == [("Permits that run out", "Pier Café")]


def test_queries_stay_the_same_with_more_of_everything(owner, django_assert_num_queries):
    def wrong(route, number, location):
        facts = {"by": owner, "at": story.utc(19, 8), "received_at": NOW}
        machine = route.meters[number - 1].machine
        report_fault(uuid=uuid.uuid4(), machine=machine, text="Claw hangs", via="host", **facts)
        short = story.entry(route, number, reading=300, cents=5_000, found=3)
        story.visit(route, location, story.utc(19, 9), short, name=f"short {number}")
        bag = story.entry(route, number, reading=310, cash=story.sealed(f"S-{number}"))
        story.visit(route, location, story.utc(19, 10), bag, name=f"sealed {number}")

    route = calm_route(owner)
    wrong(route, 1, route.arcade)
    with django_assert_num_queries(94):
        today(NOW, "UTC")
    wrong(route, 2, route.arcade)
    wrong(route, 3, route.cafe)
    caches["forecasts"].clear()  # what is kept of forecasts and drafts
    with django_assert_num_queries(94):
        today(NOW, "UTC")
