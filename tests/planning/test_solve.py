"""The planner of rounds: what it drives, what it leaves and why."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from routeapp.planning import rules_sift
from routeapp.planning.rules_drive import follow, ways
from routeapp.planning.rules_model import CENT, model
from routeapp.planning.rules_plan import Leg, Pin, Plan, Problem, Travel
from routeapp.planning.rules_search import Budget, searched
from routeapp.planning.rules_solve import INSISTED_NO_ROOM, NO_ROOM, NOT_WORTH_IT, solve
from routeapp.planning.rules_travel import straight
from tests.planning.rounds import ALL_DAY, DAYS, MONDAY, place, problem, worker

NOON_CLOSED = ((540, 720), (780, 1140))


def planned(asked: Problem, **given: object) -> Plan:
    return solve(asked, iterations=200, **given)


def reasons(plan: Plan) -> dict[int, str]:
    return {left.place: left.reason for left in plan.left}


def test_distance_agrees_with_the_published_geodesic():
    """GeodSolve0 of geographiclib 2.1: (40.6, −73.8) to (49.01666667, 2.55) is 5,853,226 m."""
    metres = straight(np.array([40.6, 49.01666667]), np.array([-73.8, 2.55]))[0, 1]
    assert metres == pytest.approx(5_853_226, abs=2)


def test_distances_of_a_round_agree_with_exact_geodesics():
    draw = np.random.default_rng(7)
    lats, lons = draw.uniform(49, 51, 12), draw.uniform(7, 10, 12)
    exact = [
        [Geodesic.WGS84.Inverse(a, b, c, d)["s12"] for c, d in zip(lats, lons, strict=True)]
        for a, b in zip(lats, lons, strict=True)
    ]
    assert straight(lats, lons) == pytest.approx(np.array(exact), rel=2e-6, abs=0.01)


def test_all_that_pays_is_visited_within_opening_hours():
    asked = problem(*(place(number, number, windows=dict.fromkeys(DAYS, NOON_CLOSED)) for number in range(1, 9)))
    plan = planned(asked)
    [route] = plan.routes
    assert sorted(stop.place for stop in route.stops) == list(range(1, 9))
    assert [stop.note for stop in route.stops] == [""] * 8
    assert all(any(a <= stop.begin and stop.departure <= b for a, b in NOON_CLOSED) for stop in route.stops)
    assert (route.note, plan.left) == ("", ())


def test_round_leaves_so_late_that_nobody_waits_through_a_lunch_closing():
    """The second stop would be reached in the morning, the first one opens only after noon."""
    asked = problem(place(1, 1, windows={MONDAY: ((780, 1140),)}), place(2, 2, windows={MONDAY: NOON_CLOSED}))
    for order in ([2, 1], [1, 2]):
        [route] = follow(asked, {(1, MONDAY): order}).routes
        assert [stop.begin - stop.arrival for stop in route.stops] == [0, 0]
        assert (route.stops[0].begin >= 780 - 20, route.returns - route.leaves < 60) == (True, True)


def test_plan_gains_what_the_search_says():
    draw = np.random.default_rng(5)
    spots = draw.uniform(-20, 20, (25, 2))
    halves = {MONDAY: NOON_CLOSED}
    asked = problem(*(place(number, *spot, windows=halves) for number, spot in enumerate(spots)))
    table = ways(asked)
    sifted = rules_sift.sift(asked, table)
    made = model(list(asked.workers), list(sifted.offers.values()), table, sifted.firsts)
    found = searched(made.data, Budget(2.0, 60))
    costs = sum(route.distance_cost() + route.duration_cost() for route in found.routes())

    assert follow(asked, made.orders(found), table).gain == pytest.approx(
        (found.prizes() - costs) / CENT, abs=40
    )  # whole minutes


def test_plan_adds_up():
    plan = planned(problem(*(place(number, number) for number in range(1, 5))))
    [route] = plan.routes
    hours = (route.returns - route.leaves) / 60
    assert route.cost == pytest.approx(40 * route.metres / 1000 + 2400 * hours, abs=40)
    assert plan.gain == 4 * 5000 - route.cost


def test_round_leaves_as_late_as_it_can():
    [route] = planned(problem(place(1, 1))).routes
    assert (route.stops[0].arrival, route.stops[0].begin) == (540, 540)
    assert route.leaves > 530


def test_each_place_is_visited_once_on_its_best_day():
    rising = {day: 1000 + 1000 * number for number, day in enumerate(DAYS)}
    workers = tuple(worker(day=day) for day in DAYS)
    plan = planned(problem(place(1, 3, value=rising), place(2, 3, value=rising), workers=workers))
    assert [(route.day, len(route.stops)) for route in plan.routes] == [(DAYS[-1], 2)]


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        ({"lat": None}, rules_sift.NO_COORDINATES),
        ({"windows": {}}, rules_sift.CLOSED),
        ({"service": 700}, rules_sift.TOO_SHORT),
        ({"load": 500}, rules_sift.TOO_MUCH),
        ({"lat": 58.0}, rules_sift.OUT_OF_REACH),
        ({"value": {}}, rules_sift.NOTHING),
        ({"not_before": MONDAY + timedelta(9)}, rules_sift.NOT_ON_DAYS),
        ({"pin": Pin(MONDAY, person=7)}, rules_sift.NOT_ON_DAYS),
        ({"lat": 50.5}, NOT_WORTH_IT),
    ],
)
def test_what_cannot_be_visited_is_left_with_the_reason(given, reason):
    odd = replace(place(2, 1), **given)
    plan = planned(problem(place(1, 1), odd, workers=(worker(capacity=100),)))
    assert plan.orders == {(1, MONDAY): (1,)}
    assert reasons(plan) == {2: reason}


def test_nobody_to_drive_leaves_everything():
    plan = planned(Problem((place(1),), ()))
    assert (plan.routes, reasons(plan)) == ((), {1: rules_sift.NOBODY})


def test_no_places_make_an_empty_plan():
    assert planned(problem()) == Plan((), ())


def test_same_address_twice_costs_no_way():
    plan = planned(problem(place(1, 2), place(2, 2)))
    assert [stop.metres for stop in plan.routes[0].stops][1] == 0


def test_van_that_holds_nothing_visits_where_nothing_is_to_bring():
    plan = planned(problem(place(1, 1, load=1), place(2, 1), workers=(worker(capacity=0),)))
    assert plan.orders == {(1, MONDAY): (2,)}


def test_van_brings_no_more_than_it_holds():
    plan = planned(
        problem(*(place(number, number, load=60) for number in range(1, 4)), workers=(worker(capacity=130),))
    )
    assert plan.orders == {(1, MONDAY): (1, 2)} or plan.orders == {(1, MONDAY): (2, 1)}
    assert reasons(plan) == {3: NO_ROOM}


def test_what_must_be_is_visited_though_it_does_not_pay():
    plan = planned(problem(place(1, 20, value={}, must_by=MONDAY)))
    assert plan.orders == {(1, MONDAY): (1,)}
    assert plan.gain < 0


def test_what_must_be_and_does_not_fit_says_so():
    plan = planned(problem(place(1, 1, service=400, must_by=MONDAY), place(2, 1, service=400, must_by=MONDAY)))
    assert list(reasons(plan).values()) == [INSISTED_NO_ROOM]


def test_pinned_stops_come_first_in_their_order():
    workers = (worker(1), worker(2))
    far, near = place(1, 9, pin=Pin(MONDAY, 2, 1)), place(2, 1, pin=Pin(MONDAY, 2, 2))
    plan = planned(problem(far, near, place(3, 8), place(4, 2, pin=Pin(MONDAY, 2)), workers=workers))
    assert plan.orders[2, MONDAY][:2] == (1, 2)
    assert 4 in plan.orders[2, MONDAY]
    assert plan.left == ()


def test_pinned_day_is_kept():
    workers = tuple(worker(day=day) for day in DAYS)
    plan = planned(problem(place(1, 1), place(2, 1, pin=Pin(DAYS[3])), workers=workers))
    assert plan.orders[1, DAYS[3]] == (1, 2) or plan.orders[1, DAYS[3]] == (2, 1)


def test_measured_leg_overrides_the_map():
    detour = Travel(legs={("depot", 1): Leg(90_000, 7_200), (1, "depot"): Leg(90_000, 7_200)})
    plan = planned(problem(place(1, 1, value=dict.fromkeys(DAYS, 40_000)), travel=detour))
    assert plan.routes[0].metres == 180_000


def test_without_a_start_only_the_ways_between_stops_count():
    plan = planned(problem(place(1, 30), place(2, 30, 1), workers=(worker(start=None, end=None),)))
    assert plan.routes[0].metres < 2000


def test_plan_before_is_where_the_search_starts():
    asked = problem(*(place(number, number % 5, number % 7) for number in range(1, 20)))
    before = solve(asked, iterations=300)
    assert solve(asked, iterations=1, warm=before).gain >= before.gain


def test_better_plans_are_told_meanwhile():
    told: list[Plan] = []
    plan = planned(problem(*(place(number, number) for number in range(1, 9))), on_better=told.append)
    assert told
    assert told[0].gain <= plan.gain


def test_order_by_hand_is_driven_as_it_stands():
    asked = problem(place(1, 1, windows={}), place(2, 5, service=600))
    [route] = follow(asked, {(1, MONDAY): [1, 2, 99]}).routes
    assert [bool(stop.note) for stop in route.stops] == [True, False]
    assert route.note != ""


def test_same_seed_same_plan():
    asked = problem(*(place(number, number % 5, number % 7) for number in range(1, 30)))
    assert planned(asked, seed=3) == planned(asked, seed=3)


def test_two_thousand_stops_for_one_person_are_a_plan_of_what_can_be_done_and_words_for_the_rest():
    draw = np.random.default_rng(3)
    spots = draw.uniform(-40, 40, (2_000, 2))
    places = [place(number, east, north, windows={MONDAY: ALL_DAY}) for number, (east, north) in enumerate(spots)]
    plan = solve(problem(*places), seconds=2.0, iterations=5)
    [route] = plan.routes
    assert (len(route.stops) > 10, len(route.stops) + len(plan.left), route.note) == (True, 2_000, "")
    assert set(reasons(plan).values()) <= {NO_ROOM, NOT_WORTH_IT, rules_sift.OUT_OF_REACH}
