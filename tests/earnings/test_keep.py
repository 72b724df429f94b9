"""Which cabinets earn their keep, and what is said while nobody wrote down what they cost."""

from datetime import date

import pytest
from django.urls import reverse

from machines.purchases.models import OrderedCabinet
from routeapp.earnings import queries_groups
from routeapp.earnings.queries_profit import Profit
from tests.earnings import story
from tests.earnings.test_profit import MARCH, decide
from tests.machines.purchases.cast import ordered, sea_quote

pytestmark = pytest.mark.django_db


@pytest.fixture
def route(owner):
    """C3 costs more than it takes; of C1 and C2 it is not known what they cost."""
    route = story.tell(owner)
    decide(route.meters[2].machine, owner)
    return route


def test_overview_says_who_earns_their_keep(route):
    overview = queries_groups.overview(Profit(MARCH, "UTC"))

    assert [one.code for one in overview.open] == ["C1", "C2"]  # nobody wrote down what they cost
    assert (overview.earning, [one.code for one in overview.losing]) == ([], ["C3"])
    assert [(one.kept.code, one.word) for one in overview.advice] == [("C3", "Move")]


def test_cabinet_is_known_to_earn_its_keep_once_its_cost_counts(owner_client, route):
    def told():
        overview = queries_groups.overview(Profit(MARCH, "UTC"))
        lacking = overview.lacking
        return [[one.code for one in some] for some in (overview.earning, lacking.cost, lacking.years)]

    def said(name, argument):
        text = owner_client.get(reverse(name, args=[argument])).content.decode()
        return "Nobody wrote down what it cost" in text, "Over how many years" in text, "Before" in text

    c1, c2 = (meter.machine for meter in route.meters[:2])
    assert told() == [[], ["C1", "C2"], []]
    assert said("cabinet-profit", "C1") == (True, False, True)
    decide(c1, route.person, cost_cents=10_000)
    order = ordered(route.person, sea_quote(route.person, c2.model, valid_until=date(2035, 1, 1)))
    OrderedCabinet.objects.create(line=order.lines.get(), machine=c2, cost_cents=5_000)
    assert told() == [["C1"], [], ["C2"]]
    assert [said("cabinet-profit", code) for code in ("C1", "C2", "C3")] == [
        (False, False, False),
        (False, True, True),
        (False, False, False),
    ]
    decide(c2, route.person, cost_cents=5_000)
    assert told() == [["C1", "C2"], [], []]
