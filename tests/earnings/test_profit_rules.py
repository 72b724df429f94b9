"""The statement on paper: whatever it is added up by, it comes to the same."""

from datetime import date, timedelta
from uuid import UUID

from hypothesis import given, settings
from hypothesis import strategies as st

from routeapp.earnings.rules import Span
from routeapp.earnings.rules_profit import (
    Amount,
    Part,
    Stood,
    added_up,
    by,
    handed_out,
    months_of,
    over_stays,
    placed,
)
from routeapp.earnings.rules_trips import Leg, Stop, Trip, borne

JUNE = date(2026, 6, 1)


def amount(cents=100, part=Part.EXPENSES, machine=None, location=None, day=JUNE):
    return Amount(part, machine, location, day, cents)


def places(found):
    return [(one.machine, one.location, one.cents) for one in found]


STOOD = {1: [Stood(7, date(2026, 1, 1), None)], 2: [Stood(7, date(2026, 1, 1), JUNE), Stood(8, JUNE, None)]}


def test_what_a_location_costs_goes_to_the_cabinets_there():
    before = JUNE - timedelta(days=1)

    assert places(placed([amount(-101, location=7, day=before)], STOOD)) == [(1, 7, -51), (2, 7, -50)]
    assert places(placed([amount(-101, location=7)], STOOD)) == [(1, 7, -101)]  # the other moved to 8 on that day
    assert places(placed([amount(-101, location=9)], STOOD)) == [(None, 9, -101)]


def test_what_a_cabinet_costs_goes_to_where_it_stood():
    assert places(placed([amount(machine=2)], STOOD)) == [(2, 8, 100)]
    assert places(placed([amount(machine=2, day=date(2025, 1, 1))], STOOD)) == [(2, None, 100)]


def test_what_belongs_to_the_business_stays_there():
    assert places(placed([amount()], STOOD)) == [(None, None, 100)]


def test_amount_for_days_goes_to_where_a_cabinet_stood_in_them():
    june = Span(JUNE, date(2026, 6, 30))
    stays = [Stood(7, date(2026, 5, 1), date(2026, 6, 10)), Stood(8, date(2026, 6, 16), None)]

    assert places(over_stays(amount(-300, machine=2), june, stays)) == [(2, 7, -100), (2, 8, -150), (2, None, -50)]


def test_months_cut_a_span_without_a_gap():
    assert months_of(Span(date(2026, 1, 30), date(2026, 3, 1))) == [
        Span(date(2026, 1, 30), date(2026, 1, 31)),
        Span(date(2026, 2, 1), date(2026, 2, 28)),
        Span(date(2026, 3, 1), date(2026, 3, 1)),
    ]


def test_profit_is_after_every_line_and_what_pays_back_before_depreciation():
    statement = added_up([amount(900, Part.CASH), amount(100, Part.CARDS), amount(-300, Part.DEPRECIATION)])

    assert (statement.take, statement.earned, statement.profit, statement.margin) == (1000, 1000, 700, 0.7)
    assert statement.lines() == [(Part.CASH, 900), (Part.CARDS, 100), (Part.DEPRECIATION, -300)]


def stop(number, seconds=600, machines=(1,)):
    return Stop(UUID(int=number), number, JUNE, seconds, machines)


def test_road_goes_by_distance_and_time_there_by_how_long_it_was():
    # 1 km from home, 2 km on, 5 km on, 1 km home: the stops bear 2, 3.5 and 3.5 km; 10, 30 and 20 minutes.
    legs = [Leg(1000, 120), Leg(2000, 240), Leg(5000, 600), Leg(1000, 120)]
    trip = Trip([stop(1), stop(2, 1800, (1, 2)), stop(3, 1200)], legs, cents_per_hour=2000, cents_per_km=40)

    # 9 km at 0.40 and 18 minutes at 20.00 an hour; an hour there at 20.00.
    assert (trip.road_cents, trip.time_cents) == (360 + 600, 2000)
    assert [(one.stop.location, one.machine, one.metres, one.cents) for one in borne(trip)] == [
        (1, 1, 2000, 214 + 333),
        (2, 1, 3500, 687),
        (2, 2, 3500, 686),
        (3, 1, 3500, 373 + 667),
    ]


def test_unknown_ways_are_borne_evenly():
    trip = Trip([stop(1, 0), stop(2, 0)], [Leg(0, 180)] * 3, cents_per_hour=2000, cents_per_km=40)

    assert [one.cents for one in borne(trip)] == [150, 150]


legs = st.builds(Leg, st.integers(0, 90_000), st.integers(0, 9_000))
day = st.tuples(st.integers(0, 30_000), st.sets(st.integers(1, 4)), legs)


@settings(max_examples=30)
@given(st.lists(day, min_size=1, max_size=6), legs, st.integers(0, 9_000), st.integers(0, 300))
def test_trips_add_up(each, home, per_hour, per_km):
    stops = [stop(n, seconds, sorted(machines)) for n, (seconds, machines, _) in enumerate(each)]
    trip = Trip(stops, [*(leg for _, _, leg in each), home], per_hour, per_km)

    assert sum(one.cents for one in borne(trip)) == trip.road_cents + trip.time_cents


ids = st.none() | st.integers(1, 4)
days = st.dates(date(2026, 5, 25), date(2026, 7, 5))
stays = st.dictionaries(
    st.integers(1, 4),
    st.lists(st.builds(Stood, st.integers(1, 4), days, st.none() | days), max_size=3).map(
        lambda each: sorted(each, key=lambda stay: stay.since)
    ),
)


@settings(max_examples=60)
@given(
    st.lists(st.builds(Amount, st.sampled_from(Part), ids, ids, days, st.integers(-90_000, 90_000)), max_size=20), stays
)
def test_cabinets_locations_and_months_come_to_the_same_for_every_line(amounts, stood):
    found = list(placed(amounts, stood))
    total = added_up(amounts)

    for key in ("machine", "location", "day"):
        each = by(found, lambda one, key=key: getattr(one, key)).values()
        for part in Part:
            assert sum(statement.of(part) for statement in each) == total.of(part)


def test_handed_out_to_nobody_it_stays_whole():
    assert places(handed_out(amount(-5, location=3), {})) == [(None, 3, -5)]
