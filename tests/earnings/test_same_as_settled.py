"""What hosts get is the same in the earnings, in the statement and in a settlement of the same month."""

from datetime import date

import pytest

from locations.agreements.rules_terms import TermLine
from routeapp.earnings import queries
from routeapp.earnings.queries_profit import Profit
from routeapp.earnings.queries_shares import Shares
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_profit import Part
from tests.settlements.world import FORTY, agree, arcade, drafts, visit
from tests.visits.books import add_prizes_meter, entry

pytestmark = pytest.mark.django_db
MARCH = Span(date(2026, 3, 1), date(2026, 3, 31))
RENT = TermLine("rent", cents=3_100, per="month")
STOP = TermLine("visit", cents=500)


def three_ways(world):
    """The share of March as settled, in the earnings and in the statement."""
    amounts = Profit(MARCH, "America/Chicago").amounts
    return [
        sum(one.cents for one in drafts(world)),
        sum(line.share for line in Shares(queries.book(MARCH)).lines),
        -sum(one.cents for one in amounts if one.part == Part.SHARE),
    ]


def test_a_stop_that_served_no_cabinet_counts_as_a_visit(owner):
    world = arcade(owner, terms=[STOP])
    visit(world, "one", 1)
    visit(world, "nobody in", 8, None)

    assert three_ways(world) == [1_000] * 3


def test_a_cabinets_own_terms_count_its_visits_and_the_location_all(owner):
    world = arcade(owner, terms=[*FORTY, STOP])
    agree(world, [STOP], machine=world.meters[1].machine)
    visit(world, "one", 1, 10_000)
    visit(world, "two", 8, 20_000, cabinet=1)

    assert three_ways(world) == [4_000 + 2 * 500 + 500] * 3


def test_rent_of_the_location_is_owed_also_where_all_cabinets_have_terms_of_their_own(owner):
    world = arcade(owner, terms=[RENT])
    for meter in world.meters:
        agree(world, FORTY, machine=meter.machine)
    visit(world, "one", 1, 10_000)

    assert three_ways(world) == [3_100 + 4_000] * 3


def test_prizes_that_the_meter_says_were_won_are_borne_as_counted_ones_are(owner):
    world = add_prizes_meter(arcade(owner, prize_cost_by="host"), shown=990)
    visit(world, "one", 0, None, entries=[entry(world, "one", out=990, cents=10_000, loaded={0: 30})])
    visit(world, "two", 1, None, entries=[entry(world, "two", out=0, cents=5_000)])
    assert three_ways(world) == [6_000 - 800] * 3  # ten owls at 0.80

    visit(world, "three", 2, None, entries=[entry(world, "three", out=5, cents=5_000, found={0: 12})])

    assert three_ways(world) == [8_000 - 800 - 400] * 3  # five more, and three are missing, which nobody won
    profit = Profit(MARCH, "America/Chicago").amounts
    assert sorted((one.what, one.cents) for one in profit if one.part in (Part.PRIZES, Part.LOST)) == [
        ("10 prizes won, 10 by the meter", -800),
        ("3 prizes missing", -240),
        ("5 prizes won", -400),
    ]
