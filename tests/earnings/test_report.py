"""The evening's figures against the story worked out by hand in story.py."""

from datetime import date
from types import SimpleNamespace

import pytest

from routeapp.cash import actions as cash
from routeapp.cash.models import Bag
from routeapp.earnings import queries, queries_report, queries_shares, queries_take
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_figures import Figures
from tests import factories
from tests.earnings import story

pytestmark = pytest.mark.django_db

MARCH = Span(date(2026, 3, 1), date(2026, 3, 31))
TODAY = date(2026, 4, 2)


def march(person):
    return story.tell(person), queries_report.report(MARCH, TODAY)


def rows(table):
    return {row.name: row for row in table}


def test_locations_show_the_sums_of_the_story(owner):
    _, report = march(owner)
    arcade = rows(report.locations)["Lantern Arcade"]

    assert (arcade.figures.take, arcade.figures.plays, arcade.figures.prizes) == (54_705, 630, 9)
    assert (arcade.figures.payout, arcade.figures.prize_cost) == (70, 720)
    assert (arcade.figures.over_short, arcade.figures.not_known, arcade.figures.uncounted) == (-295, 1, 1)
    assert rows(report.locations)["Pier Café"].figures.take == 4_010


def test_cabinets_show_the_sums_of_the_story(owner):
    _, report = march(owner)

    assert {name: (row.figures.take, row.figures.plays) for name, row in rows(report.cabinets).items()} == {
        "C1": (40_005, 400),
        "C2": (14_700, 230),
        "C3": (4_010, 40),
    }


def test_plays_and_payout_are_those_that_a_meter_tells(owner):
    # Beside C1 and C2 two cabinets gave 30 owls each: C4 has no meter, C5 only one that counts prizes.
    made = story.tell(owner)
    plain = factories.MachineFactory(code="C4")
    prizes = factories.MeterFactory(machine=factories.MachineFactory(code="C5"), counts="prizes_out", value_cents=0)
    made.meters += [SimpleNamespace(machine_id=plain.pk), prizes]
    for number, machine, read in ((4, plain, {}), (5, prizes.machine, {"reading": 0})):
        factories.PlacementFactory(machine=machine, location=made.arcade)
        after = {"reading": 30} if read else {}
        for day, entry in ((4, {"loaded": 40, **read}), (11, {"cents": 3_000, "found": 10, **after})):
            one = story.entry(made, number, **entry)
            story.visit(made, made.arcade, story.utc(day, 20), one, name=f"{number} {day}")
    report = queries_report.report(MARCH, TODAY)

    told = {row.name: (row.figures.plays, row.figures.payout, row.figures.left_out) for row in report.cabinets}
    assert (told["C4"], told["C5"]) == ((None, None, 0), (None, None, 0))
    arcade = rows(report.locations)["Lantern Arcade"].figures
    assert (arcade.plays, arcade.prizes, arcade.payout) == (630, 69, 70)


def test_hosts_share_follows_the_terms_of_each_day_and_is_rounded_once_a_line(owner):
    # 40 % of 497.05 is 198.82, 50 % of 50.00 is 25.00; 33.33 % of 40.10 is 13.36533, rounded half up to 13.37.
    _, report = march(owner)

    assert {row.name: row.share for row in report.locations} == {"Lantern Arcade": 22_382, "Pier Café": 1_337}
    assert {row.name: row.share for row in report.cabinets} == {"C1": 16_502, "C2": 5_880, "C3": 1_337}


def test_totals_add_up_exactly(owner):
    _, report = march(owner)

    for table in (report.locations, report.cabinets):
        for name in ("take", "plays", "prizes", "prize_cost", "over_short", "known", "not_known", "uncounted"):
            assert sum(getattr(row.figures, name) for row in table) == getattr(report.total.figures, name)
        assert sum(row.share or 0 for row in table) == report.total.share
    assert report.total.figures.take == 58_715


def test_take_in_the_tables_is_the_take_in_the_books(owner):
    route, report = march(owner)

    assert queries_take.take_by("location", MARCH.since, MARCH.until) == {route.arcade.pk: 54_705, route.cafe.pk: 4_010}
    assert report.total.figures.take == queries_take.take_between(MARCH.since, MARCH.until)


def test_late_sunday_belongs_to_the_week_of_the_location(owner):
    route = story.tell(owner)

    assert queries_take.take_by_week(MARCH.since, MARCH.until) == {
        date(2026, 3, 2): 17_700,
        date(2026, 3, 9): 36_015,
        date(2026, 3, 16): 5_000,
    }
    night = Span(date(2026, 3, 15), date(2026, 3, 15))
    assert [line.visit for line in queries.book(night).lines] == [route.night.pk]
    assert queries.book(Span(date(2026, 3, 16), date(2026, 3, 17))).lines == []


@pytest.mark.parametrize(
    ("day", "monday"),
    [  # ISO 8601: the week starts on Monday; 2024-12-30 is the Monday of week 1 of 2025.
        (date(2026, 3, 1), date(2026, 2, 23)),
        (date(2026, 3, 2), date(2026, 3, 2)),
        (date(2026, 3, 8), date(2026, 3, 2)),
        (date(2025, 1, 5), date(2024, 12, 30)),
        (date(2024, 2, 29), date(2024, 2, 26)),
    ],
)
def test_database_knows_the_monday_of_a_day(owner, day, monday):
    route = story.tell(owner)
    queries_take.CashMove.objects.filter(location=route.cafe).update(day=day)

    assert queries_take.take_by_week(day, day, location=route.cafe) == {monday: 4_010}


def test_sealed_bag_joins_the_day_it_was_sealed_once_counted(owner):
    story.tell(owner)
    count(owner, 7_900)

    report = queries_report.report(MARCH, TODAY)

    c2 = rows(report.cabinets)["C2"].figures
    assert (c2.take, c2.uncounted, c2.not_known, c2.over_short) == (22_600, 0, 0, -400)
    assert queries_take.take_by_week(MARCH.since, MARCH.until)[date(2026, 3, 16)] == 12_900


def test_sealed_bag_with_nothing_in_it_counts_as_counted(owner):
    story.tell(owner)
    count(owner, 0)

    c2 = rows(queries_report.report(MARCH, TODAY).cabinets)["C2"].figures

    assert (c2.take, c2.uncounted, c2.not_known, c2.over_short) == (14_700, 0, 0, -8_300)


def count(person, cents):
    bag = Bag.objects.get(number="S-77")
    facts = {"by": person, "at": story.RECEIVED, "received_at": story.RECEIVED}
    cash.count_bag(uuid=bag.uuid, bag=bag, how="amount", cents=cents, lines={}, note="", **facts)


def test_no_share_for_prizes_is_told_where_none_was_counted_as_won():
    assert Figures(take=10_000).cost_share is None
    assert Figures(take=10_000, prizes=4, prize_cost=800).cost_share == 0.08


def test_drill_down_adds_up_to_every_figure_it_was_opened_from(owner):
    route, report = march(owner)
    book = queries.book(MARCH)

    for name, table in (("location", report.locations), ("machine", report.cabinets)):
        for row in table:
            lines = queries.lines_of(book, {name: row.key})
            assert queries_report.sums.add_up(lines) == row.figures
            assert sum(one.part for one in queries_shares.shares_of(book, {name: row.key})) == (row.share or 0)


def test_reading_in_question_is_left_out_and_said(owner):
    route = story.make_route(owner)
    story.visit(route, route.cafe, story.utc(10, 11), story.entry(route, 3, reading=140, cents=4_000))
    story.visit(route, route.cafe, story.utc(12, 11), story.entry(route, 3, reading=90, cents=2_000))

    total = queries_report.report(MARCH, TODAY).total.figures

    assert (total.plays, total.left_out, total.known, total.not_known) == (40, 1, 1, 1)


def test_take_before_any_agreement_has_no_share_and_is_named(owner):
    route = story.make_route(owner)
    kiosk = story.factories.LocationFactory(name="Kiosk")
    story.visit(route, kiosk, story.utc(10, 11), story.entry(route, 3, reading=140, cents=4_000))

    report = queries_report.report(MARCH, TODAY)

    assert rows(report.locations)["Kiosk"].share is None
    assert report.without_agreement == [("Kiosk", 4_000)]


def test_plays_read_when_the_price_changed_count_where_the_cabinet_stood(owner):
    route = story.make_route(owner)
    story.visit(route, route.cafe, story.utc(10, 11), story.entry(route, 3, reading=140, cents=4_000))
    machine = route.meters[2].machine
    change = {"by": owner, "at": story.utc(11, 9), "received_at": story.RECEIVED}
    story.change_price(machine, 200, 150, change)
    route.meters[2] = machine.meters.get(removed_at=None)
    story.visit(route, route.cafe, story.utc(12, 11), story.entry(route, 3, reading=160, cents=3_000))

    cafe = rows(queries_report.report(MARCH, TODAY).locations)["Pier Café"].figures

    # 40 plays and 10 more at 1.00, then 10 at 2.00: the last collection should bring 10.00 + 20.00.
    assert (cafe.plays, cafe.take, cafe.over_short, cafe.known) == (60, 7_000, 0, 2)


QUERIES = 22


def test_queries_stay_the_same_with_more_visits(owner, django_assert_num_queries):
    route = story.make_route(owner)
    story.visit(route, route.cafe, story.utc(3, 11), story.entry(route, 3, reading=140, cents=4_000))
    with django_assert_num_queries(QUERIES):
        queries_report.report(MARCH, TODAY)
    for day in (4, 5, 6):
        at = story.utc(day, 18)
        story.visit(route, route.arcade, at, story.entry(route, 1, reading=100 + day), story.entry(route, 2, cents=day))
    with django_assert_num_queries(QUERIES):
        queries_report.report(MARCH, TODAY)
