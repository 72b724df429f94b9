"""Which prizes lie still, and what they are worth."""

from datetime import timedelta

import pytest
from django.urls import reverse

from routeapp.earnings.queries_prize_lines import prize_lines
from routeapp.earnings.queries_prizes import Prizes
from routeapp.earnings.rules import Span
from tests.earnings.test_pages import text_of
from tests.earnings.test_prizes import MARCH, tell
from tests.visits.books import START, document, entry, make_world, record, some_id

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


def test_pieces_that_lie_still_are_named_with_what_they_are_worth(owner_client, world):
    tell(world)

    # Bought and won in March, and it is long after. 494 owls were left at 0.80 when 300 came for 360.00, and then 200
    # for 140.00: 895.20; of the robots 497, so 897.60.
    said = text_of(owner_client.get(f"{reverse('earnings-prizes')}?{MARCH}"))
    assert "$1,792.80 lies still Nothing was won for 8 weeks of Plush owl , Tin robot ." in said


def dead(weeks):
    now = START + timedelta(weeks=weeks)
    return {line.prize.name for line in prize_lines(Prizes(Span(START.date(), now.date()), "UTC", now)) if line.is_dead}


@pytest.mark.parametrize(("weeks", "names"), [(1, set()), (8, set()), (9, set()), (10, {"Plush owl", "Tin robot"})])
def test_what_was_won_or_bought_lately_does_not_lie_still(world, weeks, names):
    tell(world)  # the last pieces come nine days after the first visit

    assert dead(weeks) == names


def test_what_was_written_down_as_won_and_taken_back_lies_still(world):
    tell(world)
    record(world, document(world, "x", days=60, entries=[entry(world, "x", found={0: 30, 1: 17})]))
    assert dead(10) == {"Tin robot"}

    amends = {"replaces": some_id("x"), "reason": "was elsewhere", "void": True}
    record(world, document(world, "y", days=60, **amends))
    assert dead(10) == {"Plush owl", "Tin robot"}
