"""Prizes that the books do not know inside a cabinet, on the visit page."""

import pytest

from routeapp.models import Visit
from routeapp.stock import queries as stock
from tests.visits.books import make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


def test_prizes_that_lie_inside_without_being_in_the_books_are_counted_at_the_first_visit(world, stop):
    page = stop({"other_prize": world.prizes[0].pk, "other_found": 25, "other_pieces": 5}, load_from=world.store.pk)

    code = world.meters[0].machine.code
    assert f'25 more than the books had<br><a href="/prizes/inside/?cabinet={code}">' in page.content.decode()
    inside = stock.inside([world.meters[0].machine_id])[world.meters[0].machine_id]
    assert [(prize.name, pieces) for prize, pieces in inside] == [("Plush owl", 30)]


@pytest.mark.parametrize("pieces", [{"other_pieces": 90}, {"other_found": 0}, {"other_prize": "owl"}])
def test_pieces_without_a_prize_and_a_prize_without_pieces_are_asked_about_and_kept(world, stop, pieces):
    said = {name: world.prizes[0].pk if value == "owl" else value for name, value in pieces.items()}
    page = stop({"note": "Quiet", **said})

    assert page.status_code == 422
    assert page.context["cabinets"][0].errors == {
        "other_prize": ["Say which prize and how many pieces, or leave all of it empty."]
    }
    assert Visit.objects.count() == 0
