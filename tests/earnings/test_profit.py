"""The statement of March 2026 in story.py, with what else cost money, worked out by hand.

card sale at the arcade, C1, 10 March     10.00, fee 0.59; refund to a player 2.00
part put into C2 on 9 March               2 coils of 3 that came for 10.00: 6.67
cleaning of the arcade, 9 March           5.01: two cabinets stand there, 2.51 and 2.50
insurance of the business                 20.00
C3 in equal parts from 1 March on         365.00 over 1 year: 31.00 in March
"""

import csv
import io
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from machines.cabinets.actions import change_status
from machines.depreciation.actions import choose_depreciation
from machines.parts.actions import first_shelf, move_part, save_part
from routeapp.books.queries_journal import chart
from routeapp.books.queries_worked import worked_out
from routeapp.books.rules_accounts import (
    BEFORE,
    CABINETS,
    DEPRECIATED,
    DEPRECIATION,
    PAID_ELSEWHERE,
    PRIZES,
    PRIZES_LOST,
    SOLD,
)
from routeapp.cash.actions import append
from routeapp.cash.models import CashMove
from routeapp.earnings import queries_groups
from routeapp.earnings.queries_payback import payback_of, paybacks
from routeapp.earnings.queries_profit import Profit
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_profit import Part, added_up
from routeapp.expenses.actions import spend
from routeapp.planning.models_rounds import Driver, Vehicle
from routeapp.stock import actions as stock
from tests import factories
from tests.earnings import story
from tests.machines.counting import queries_of

pytestmark = pytest.mark.django_db

MARCH = Span(date(2026, 3, 1), date(2026, 3, 31))
ADDRESS = "since=2026-03-01&until=2026-03-31"


def money(source, target, cents, day, route, machine=None, location=None):
    at = story.utc(day, 12)
    move = CashMove(
        from_purse=source,
        to_purse=target,
        cents=cents,
        at=at,
        day=at.date(),
        machine=machine,
        location=location,
    )
    append(moves=[move], by=route.person, at=story.RECEIVED)


def costs_of(route):
    """What the table above says besides the story."""
    c1, c2, c3 = (meter.machine for meter in route.meters)
    money("players", "cards", 1_000, 10, route, c1, route.arcade)
    money("cards", "fees", 59, 10, route, c1, route.arcade)
    money("bank", "refunds", 200, 10, route, c1, route.arcade)
    money("bank", "costs", 501, 9, route, None, route.arcade)
    money("bank", "costs", 2_000, 9, route)
    said = {"by": route.person, "at": story.utc(8, 9)}
    coil, shelf = save_part(part=None, name="Coil", **said), first_shelf(**said)
    facts = {"part": coil, "by": route.person, "received_at": story.RECEIVED}
    move_part(
        uuid=uuid4(), pieces=3, to_place=shelf, outside="supplier", cost_cents=1_000, at=story.utc(8, 10), **facts
    )
    move_part(uuid=uuid4(), pieces=2, from_place=shelf, outside="cabinets", machine=c2, at=story.utc(9, 10), **facts)
    decide(c3, route.person)


def decide(machine, person, **more):
    said = {"cost_cents": 36_500, "in_service_on": date(2026, 3, 1), "life_years": 1} | more
    choose_depreciation(uuid=uuid4(), machine=machine, by=person, at=story.RECEIVED, **said)


@pytest.fixture
def route(owner):
    route = story.tell(owner)
    costs_of(route)
    return route


def parts(statement):
    return {part.value: cents for part, cents in statement.lines()}


def rows(grouping, span=MARCH):
    return {row.name: row.statement for row in queries_groups.rows(Profit(span, "UTC"), grouping)}


def test_statement_has_a_line_for_all_that_was_earned_and_spent(route):
    # Share of the arcade: 40 % of 507.05 is 202.82, 50 % of 50.00 is 25.00; of the café 13.37.
    assert parts(added_up(Profit(MARCH, "UTC").amounts)) == {
        "cash": 58_715,
        "cards": 1_000,
        "share": -24_119,
        "prizes": -720,
        "fees": -59,
        "refunds": -200,
        "parts": -667,
        "expenses": -2_501,
        "depreciation": -3_100,
    }


def test_cabinets_bear_what_was_for_them(route):
    found = rows("cabinet")

    assert parts(found["C2"]) == {"cash": 14_700, "share": -5_880, "prizes": -240, "parts": -667, "expenses": -250}
    assert parts(found["C3"]) == {"cash": 4_010, "share": -1_337, "depreciation": -3_100}
    assert parts(found["No cabinet"]) == {"expenses": -2_000}
    assert found["C3"].profit == -427


def test_every_way_to_add_up_comes_to_the_same_for_every_line(route):
    profit = Profit(Span(date(2025, 12, 15), date(2026, 4, 20)), "UTC")
    total = added_up(profit.amounts)

    for grouping in queries_groups.GROUPINGS:
        found = [row.statement for row in queries_groups.rows(profit, grouping)]
        assert {part: sum(one.of(part) for one in found) for part in Part} == {part: total.of(part) for part in Part}


def test_each_figure_opens_what_it_is_made_of(route):
    profit = Profit(MARCH, "UTC")

    for grouping in queries_groups.GROUPINGS:
        for row in queries_groups.rows(profit, grouping):
            for part, cents in row.statement.lines():
                assert sum(one.cents for one in queries_groups.behind(profit, grouping, row.ref, part)) == cents
            behind = queries_groups.behind(profit, grouping, row.ref, "")
            assert sum(one.cents for one in behind) == row.statement.profit


def test_one_location_alone_says_the_same_as_all_together(route):
    alone = Profit(MARCH, "UTC", [route.arcade.pk])
    here = [one for one in alone.amounts if one.location == route.arcade.pk]

    assert added_up(here).parts == rows("location")["Lantern Arcade"].parts


def spent(route, category, cents, **where):
    said = {"day": date(2026, 3, 9), "what": category, "paid_from": "bank", "zone": "UTC"}
    return spend(uuid=uuid4(), category=category, cents=cents, by=route.person, at=story.RECEIVED, **said, **where)


def test_receipts_of_what_a_kilometre_or_an_hour_costs_do_not_count_beside_trips(route):
    spent(route, "vehicle", 4_000, location=route.arcade)
    wages = spent(route, "wages", 700)
    spent(route, "wages", 900, replaces=wages)  # put right: the first was reversed
    spent(route, "office", 30)
    van = Vehicle.objects.create(name="Van", pieces=500, cents_per_km=0)
    start = {"start_name": "Store", "start_latitude": 41, "start_longitude": -87}
    driver = Driver.objects.create(person=route.person, vehicle=van, cents_per_hour=0, **start)

    def expenses():
        each = [sum(one.of(Part.EXPENSES) for one in rows(grouping).values()) for grouping in queries_groups.GROUPINGS]
        assert len(set(each)) == 1
        return each[0]

    assert expenses() == -2_501 - 4_000 - 900 - 30
    van.cents_per_km = 46
    van.save()
    assert expenses() == -2_501 - 900 - 30
    driver.cents_per_hour = 2_000
    driver.save()
    assert expenses() == -2_501 - 30
    driver.past_costs.create(before=date(2026, 4, 1), cents_per_hour=2_000, cents_per_km=46)
    Vehicle.objects.update(cents_per_km=0)
    Driver.objects.update(cents_per_hour=0)
    assert expenses() == -2_501 - 30  # trips of March still cost what they cost then


def test_reversed_money_and_corrected_visits_leave_no_trace(route):
    before = added_up(Profit(MARCH, "UTC").amounts)
    money("bank", "refunds", 700, 12, route, None, route.cafe)
    money("refunds", "bank", 700, 12, route, None, route.cafe)

    assert added_up(Profit(MARCH, "UTC").amounts).parts == before.parts


def test_prizes_that_a_count_found_missing_cost_what_they_cost_in_the_books(route, owner):
    facts = {"by": owner, "received_at": story.RECEIVED}
    for day, pieces in ((19, 380), (20, 385)):
        stock.count(place=route.store, prize=route.owl, quantity=pieces, source=uuid4(), at=story.utc(day, 9), **facts)
    lost = [one for one in Profit(MARCH, "UTC").amounts if one.part == Part.LOST]
    assert sorted((one.day.day, one.machine, one.location, one.what, one.cents) for one in lost) == [
        (19, None, None, "30 prizes missing", -2_400),
        (20, None, None, "5 prizes found again", 400),
    ]
    assert sum(one.cents for one in lost) == -worked_out(MARCH.since, chart())[PRIZES_LOST, PRIZES]


def test_missing_prizes_of_unknown_cost_are_not_said_to_be_found_again(route, owner):
    fox, facts = factories.PrizeFactory(name="Fox"), {"by": owner, "received_at": story.RECEIVED}
    for day, pieces in ((18, 10), (19, 7)):
        stock.count(place=route.store, prize=fox, quantity=pieces, source=uuid4(), at=story.utc(day, 9), **facts)
    lost = [one for one in Profit(MARCH, "UTC").amounts if one.part == Part.LOST]
    assert [(one.what, one.cents) for one in lost if one.day.day == 19] == [("3 prizes missing", 0)]


def test_depreciation_goes_where_the_cabinet_stood(route, owner):
    c3 = route.meters[2].machine
    placement = c3.placements.get()
    placement.ended_at, placement.ended_by = story.utc(10, 15), owner
    placement.save()

    assert {name: one.of(Part.DEPRECIATION) for name, one in rows("location").items()} == {
        "Lantern Arcade": 0,
        "Pier Café": -1_000,
        "No location": -2_100,
    }


def test_depreciation_of_a_month_is_borne_by_its_days_in_service(route, owner):
    c3 = route.meters[2].machine
    c3.placements.update(started_at=story.utc(20, 9))
    decide(c3, owner, in_service_on=date(2026, 3, 20))

    at = {name: one.of(Part.DEPRECIATION) for name, one in rows("location").items()}
    assert {name: cents for name, cents in at.items() if cents} == {"Pier Café": -1_200}


def test_cabinet_that_was_sold_has_cost_what_it_cost_in_the_profit_and_in_the_books(route, owner):
    c3 = route.meters[2].machine
    sold = {"status": "sold", "sold_cents": 30_000, "at": story.utc(10, 15), "received_at": story.RECEIVED}
    before, _ = payback_of(c3, date(2026, 4, 2), "UTC")
    c3.placements.update(ended_at=story.utc(10, 15), ended_by=owner)
    change_status(machine=c3, **sold, by=owner)

    statement, books = added_up(Profit(MARCH, "UTC").amounts), worked_out(MARCH.since, chart())
    assert (statement.of(Part.DEPRECIATION), statement.of(Part.SOLD)) == (-36_500, 30_000)
    assert {name: one.of(Part.DEPRECIATION) for name, one in rows("location").items()}["Pier Café"] == -1_000
    assert payback_of(c3, date(2026, 4, 2), "UTC")[0].earned == before.earned + 30_000
    assert [books[ends] for ends in ((DEPRECIATION, DEPRECIATED), (PAID_ELSEWHERE, SOLD))] == [36_500, 30_000]
    assert [books[ends] for ends in ((CABINETS, BEFORE), (DEPRECIATED, CABINETS))] == [36_500, 36_500]


def test_price_is_refused_where_nothing_was_sold(owner_client, owner, route):
    route.meters[2].machine.placements.update(ended_at=story.utc(10, 15), ended_by=owner)
    form = {"status": "spare", "sold_cents": "300.00", "at": "2026-04-01T12:00"}
    answer = owner_client.post(reverse("cabinet-status", args=["C3"]), form)
    assert (answer.status_code, "A price belongs to a cabinet that was sold." in answer.content.decode()) == (422, True)
    owner_client.post(reverse("cabinet-status", args=["C3"]), form | {"status": "sold"})
    assert "Sold</strong> for $300.00" in owner_client.get(reverse("cabinet-status", args=["C3"])).content.decode()


def test_a_cabinet_that_came_after_the_days_is_not_asked_to_earn_its_keep(route):
    late = factories.MachineFactory(code="C4")
    factories.PlacementFactory(machine=late, location=route.cafe, started_at=story.utc(31, 23))  # 1 April in Lisbon

    def codes(until):
        return [one.code for one in queries_groups.kept(Profit(Span(MARCH.since, until), "UTC"))]

    assert codes(MARCH.until) == ["C1", "C2", "C3"]
    assert codes(date(2026, 4, 1)) == ["C1", "C2", "C3", "C4"]


def test_payback_counts_months_against_the_cost(route):
    today, c1 = date(2026, 4, 2), route.meters[0].machine
    decide(c1, route.person, cost_cents=20_000)

    payback, _ = payback_of(c1, today, "UTC")

    # C1: 400.05 + 10.00 less its share 169.02 (40 % of 360.05, 50 % of 50.00), prizes 4.80, 0.59, 2.00 and 2.51.
    assert payback.months == ((date(2026, 3, 1), 41_005 - 16_902 - 480 - 59 - 200 - 251), (date(2026, 4, 1), 0))
    assert (payback.paid_back_in, payback.missing, payback.percent) == (date(2026, 3, 1), 0, 115.565)
    assert {one.machine.code: one.earned for one in paybacks(today, "UTC")}["C1"] == payback.earned


def test_no_return_is_told_of_a_cabinet_that_has_just_begun(route):
    today, c1 = date(2026, 4, 2), route.meters[0].machine
    decide(c1, route.person, cost_cents=2_000_000)
    just_begun, _ = payback_of(c1, today, "UTC")
    assert (just_begun.ahead, just_begun.rate) == (None, None)

    decide(c1, route.person, cost_cents=20_000)
    assert payback_of(c1, today, "UTC")[0].rate is not None


def test_payback_of_all_is_that_of_each(route):
    today = date(2026, 4, 2)
    for meter in route.meters:
        decide(meter.machine, route.person)

    assert [one.months for one in paybacks(today, "UTC")] == [
        payback_of(meter.machine, today, "UTC")[0].months for meter in route.meters
    ]


PAGES = ["profit", "profit-amounts", "profit-payback"]


@pytest.mark.parametrize("name", PAGES)
def test_pages_ask_as_much_for_three_visits_as_for_one(owner_client, owner, name):
    route = story.make_route(owner)
    story.visit(route, route.cafe, story.utc(3, 11), story.entry(route, 3, reading=140, cents=4_000))
    one = queries_of(owner_client, f"{reverse(name)}?{ADDRESS}&q=a")
    for day in (4, 5, 6):
        at = story.utc(day, 18)
        story.visit(route, route.arcade, at, story.entry(route, 1, reading=100 + day), story.entry(route, 2, cents=day))
    assert queries_of(owner_client, f"{reverse(name)}?{ADDRESS}&q=b") == one


def test_profit_page_answers_first(owner_client, route):
    text = owner_client.get(f"{reverse('profit')}?{ADDRESS}").content.decode()

    assert "$283.49</span> profit" in text
    assert "<strong>0 of 3</strong> cabinets are known to earn their keep. 2 leave something" in text
    assert "Before the cost of 2 cabinets" in text


def test_statement_comes_as_a_file(owner_client, route):
    for grouping in queries_groups.GROUPINGS:
        answer = owner_client.get(f"{reverse('profit')}?{ADDRESS}&by={grouping}&as=csv")
        head, *lines = csv.reader(io.StringIO(answer.getvalue().decode()))
        assert round(sum(float(line[head.index("Profit")]) for line in lines), 2) == 283.49


def test_pages_of_a_cabinet_and_a_location_show_their_months(owner_client, route):
    for name, argument in (("cabinet-profit", "C1"), ("location-profit", route.arcade.pk)):
        answer = owner_client.get(reverse(name, args=[argument]))
        assert answer.status_code == 200
        assert owner_client.get(reverse(name, args=[argument]), headers={"HX-Request": "true"}).status_code == 200


BAD = ["by=x", "key=%00", "part=nothing", "by=host&key=999999999999999999999", "since=0001-01-01", "until=9999-12-31"]


def test_what_makes_no_sense_in_an_address_is_answered(owner_client, route):
    for name in PAGES:
        for address in BAD:
            assert owner_client.get(f"{reverse(name)}?{address}").status_code == 200


def test_empty_business_learns_where_profit_comes_from(owner_client):
    for name in PAGES:
        assert owner_client.get(reverse(name)).status_code == 200


def test_a_late_visit_changes_only_its_own_month(route):
    before = rows("month", Span(date(2026, 2, 1), date(2026, 4, 30)))
    story.visit(route, route.cafe, story.utc(20, 11), story.entry(route, 3, reading=190, cents=5_000))
    after = rows("month", Span(date(2026, 2, 1), date(2026, 4, 30)))

    assert {name for name in after if before.get(name) != after[name]} == {"March 2026"}
    assert after["March 2026"].take - before["March 2026"].take == 5_000


def test_span_of_some_days_has_only_their_amounts(route):
    week = Span(date(2026, 3, 9), date(2026, 3, 15))

    assert {one.day for one in Profit(week, "UTC").amounts} <= {week.since + timedelta(days=n) for n in range(7)}
