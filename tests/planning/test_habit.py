"""What people drive today, how long stops take, sketches and picks: worked out on paper."""

from datetime import date, timedelta

import pytest

from routeapp.planning.queries_needs import Need
from routeapp.planning.rules_bear import bearing
from routeapp.planning.rules_drive import follow
from routeapp.planning.rules_habit import Been, habit_of, orders, weeks_before
from routeapp.planning.rules_pick import picks
from routeapp.planning.rules_plan import Place, Point, Problem, Worker
from routeapp.planning.rules_result import as_json, driving, from_json, too_long
from routeapp.planning.rules_service import Work, learn
from routeapp.planning.rules_sketch import sketch
from routeapp.planning.rules_vary import sameness, vary

DAY = date(2026, 6, 1)
NINE = 9 * 60


def been(*days_ago, person=1, minute=NINE):
    return [Been(person, DAY - timedelta(days=days), minute) for days in days_ago]


def test_habit_is_the_middle_gap_person_and_hour():
    habit = habit_of([*been(3, 10, 17), *been(25, person=2, minute=900)])
    assert (habit.every, habit.last, habit.person, habit.minute) == (7, DAY - timedelta(days=3), 1, NINE)
    assert habit.next_on(DAY) == DAY + timedelta(days=4)
    assert habit_of([]) is None


def test_fixed_round_drives_what_is_due_in_the_order_of_the_usual_hours():
    habits = {1: habit_of(been(7, 14, minute=700)), 2: habit_of(been(7, 14)), 3: habit_of(been(1, 8))}
    shifts = [(1, DAY), (1, DAY + timedelta(days=1))]
    assert orders(habits, shifts) == {(1, DAY): (2, 1), (1, DAY + timedelta(days=1)): ()}


def test_fixed_round_of_somebody_without_shifts_is_driven_by_another():
    assert orders({1: habit_of(been(7, 14, person=9))}, [(1, DAY)]) == {(1, DAY): (1,)}
    assert orders({1: habit_of(been(7))}, []) == {}


def test_pace_without_visits_is_the_usual_one():
    assert learn([]).minutes(Work(2, 2), 1) == 17  # 5 + 2 × 4 + 2 × 2


def test_pace_follows_what_stops_took():
    stops = [(1, Work(cabinets), 10.0 + 3 * cabinets) for cabinets in (1, 2, 3, 4)] * 30
    assert learn(stops).minutes(Work(5), 2) == pytest.approx(25, abs=1)


def test_pace_passes_over_stops_that_cannot_be():
    assert learn([(1, Work(1), 0.0), (1, Work(1), 5000.0)]) == learn([])


def problem(**more):
    places = [
        Place(number, 41.9 + number / 50, -87.6, {DAY: ((0, 1440),)}, 10, {DAY: 1000}, **more) for number in (1, 2, 3)
    ]
    home = Point(41.9, -87.6)
    return Problem(tuple(places), (Worker(1, DAY, (NINE, 900), home, home, 2400, 40),))


def test_varied_plan_is_less_like_the_past_and_within_its_cost():
    plain = follow(problem(), {(1, DAY): [1, 2, 3]})
    past = {stop.place: [Been(1, DAY - timedelta(days=7), stop.begin)] for stop in plain.routes[0].stops}
    other = vary(problem(), plain, past, 500)
    assert sameness(other, past) < sameness(plain, past)
    assert plain.gain - other.gain <= 500
    assert vary(problem(), plain, past, 0) is plain


def test_plan_is_kept_and_read_back_the_same():
    plan = follow(problem(), {(1, DAY): [1, 2, 3]})
    assert from_json(as_json(plan)) == plan


def test_picks_come_from_the_fullest_store_and_shortages_are_replaced():
    stores = {7: {1: 5, 2: 50}, 8: {1: 20}}
    one, two = picks({1: 40, 2: 10}, {1: 3}, stores, {1: [2], 2: [1]})
    assert (one.store, one.in_van, one.pieces, one.short, one.instead) == (8, 3, 20, 17, (2, 17))
    assert (two.store, two.pieces, two.short, two.instead) == (7, 10, 0, None)


def test_pick_of_what_is_nowhere():
    only = picks({1: 4}, {}, {}, {1: []})[0]
    assert (only.store, only.pieces, only.short, only.instead) == (None, 0, 4, None)


@pytest.mark.parametrize("points", [[(0.0, 0.0)], [(41.9, -87.6)] * 3, [(-89.9, 180.0), (89.9, -180.0)]])
def test_sketch_stays_on_its_sheet(points):
    drawn = sketch([(lat, lon, "1", "one") for lat, lon in points], points)
    assert all(0 <= dot.x <= drawn.width and 0 <= dot.y <= drawn.height for dot in drawn.dots)
    assert 0 < drawn.scale_width <= drawn.width
    assert sketch([], []) is None


def test_sketch_scale_is_true():
    """A degree of latitude is 111.2 km on average (WGS 84 meridian quadrant of 10,001.966 km / 90; from memory)."""
    drawn = sketch([(41.0, -87.6, "", ""), (42.0, -87.6, "", "")], [])
    pixels = abs(drawn.dots[0].y - drawn.dots[1].y)
    assert drawn.scale_km * pixels / drawn.scale_width == pytest.approx(111.2, rel=0.01)


def test_place_bears_its_detour_and_a_part_of_the_way_that_is_nobody_s():
    alone = follow(problem(), {(1, DAY): [1]})
    assert bearing(problem(), [alone])[1] == [pytest.approx(alone.cost, abs=1)]  # all of it is its detour
    plan = follow(problem(), {(1, DAY): [1, 2]})  # one behind the other: the near one is no detour
    bears = bearing(problem(), [plan])
    assert bears[1] < bears[2] < [plan.cost]
    longer = follow(problem(), {(1, DAY): [1, 2, 3]})
    assert bears[3] == [pytest.approx(longer.cost - plan.cost, abs=1)]  # what it would have added


def test_place_bears_what_each_week_asked():
    near, none = follow(problem(), {(1, DAY): [2]}), follow(problem(), {})
    alone = follow(problem(), {(1, DAY): [1]}).cost
    [with_neighbour, own] = bearing(problem(), [near, follow(problem(), {(1, DAY): [1]}), none])[1]
    assert with_neighbour < own == pytest.approx(alone, abs=1)


def test_place_beside_nobody_s_round_bears_a_part_of_its_own_trip():
    alone = bearing(problem(), [follow(problem(), {})])
    trip = follow(problem(), {(1, DAY): [2]}).cost  # the middle one of three
    assert alone == {one: [pytest.approx(trip / 6)] for one in (1, 2, 3)}


def test_weeks_before_are_driven_on_the_same_weekdays():
    visits = {1: been(7, 15), 2: been(7, minute=NINE - 60), 3: been(14, person=2), 4: been(3)}
    last, before, *older = weeks_before(visits, [(1, DAY), (1, DAY + timedelta(days=6)), (1, DAY + timedelta(days=9))])
    assert last == {(1, DAY): [2, 1], (1, DAY + timedelta(days=6)): []}
    assert before == {(1, DAY): [], (1, DAY + timedelta(days=6)): []}
    assert len(older) == 6
    assert weeks_before(visits, []) == [{}] * 8


def test_more_time_at_the_wheel_than_written_down_is_said():
    route = follow(problem(), {(1, DAY): [1, 2, 3]}).routes[0]
    wheel = driving(route)
    assert (too_long(route, None), too_long(route, wheel)) == ("", "")
    assert too_long(route, wheel - 5) == (
        f"{wheel} minutes at the wheel: 5 more than the {wheel - 5} written down for a day."
    )


def test_what_is_expected_goes_on_until_the_cabinet_is_empty():
    each = {"code": "C-1", "prizes": 10, "prizes_a_day": 2.5, "cents": 1000, "cents_a_day": 300}
    need = Need(on=DAY, expected={7: each})
    assert need.expected_on(DAY + timedelta(days=2)) == {"7": {"code": "C-1", "prizes": 5, "cents": 1600}}
    assert need.expected_on(DAY + timedelta(days=9)) == {"7": {"code": "C-1", "prizes": 0, "cents": 2200}}
    kept = Need(expected={7: {"code": "C-1", "cents": 5}})
    assert kept.expected_on(DAY) == {"7": {"code": "C-1", "cents": 5}}
