"""What is kept in memory of the pages by prize, and what makes them new."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from machines.faults.actions import report_fault
from tests.earnings.test_pages import text_of
from tests.earnings.test_prizes import MARCH, tell
from tests.visits.books import START, document, make_world, record, some_id

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


def test_report_of_a_player_changes_what_is_kept_of_the_page(owner_client, world):
    tell(world)
    address = f"{reverse('prize-takes', args=[world.prizes[0].pk])}?{MARCH}"
    facts = {"about": "lost_money", "via": "label", "stops_play": True, "by": None}
    at = START + timedelta(days=4)

    def inside():
        return text_of(owner_client.get(address)).count(" inside ")

    before = inside()
    report_fault(uuid=some_id("dark"), machine=world.meters[0].machine, text="Dark", at=at, received_at=at, **facts)
    assert before - inside() == 1  # though nobody wrote a line in the log


def test_a_filter_works_nothing_out_anew(owner_client, world):
    tell(world)

    def reads_moves(more):
        with CaptureQueriesContext(connection) as captured:
            answer = owner_client.get(f"{reverse('earnings-prizes')}?{MARCH}{more}")
        read = any("stockmove" in query["sql"] for query in captured)
        return read, [line.prize.name for line in answer.context["shown"]["table"].rows]

    assert [reads_moves(more) for more in ("", "&q=owl", "&q=tin")] == [
        (True, ["Plush owl", "Tin robot"]), (False, ["Plush owl"]), (False, ["Tin robot"])
    ]  # fmt: skip
    record(world, document(world, "note", days=60))
    assert reads_moves("&q=owl") == (True, ["Plush owl"])
