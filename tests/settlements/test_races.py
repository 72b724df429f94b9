"""Several people issuing at the same moment: nothing is issued twice, and numbers have no gaps."""

from uuid import uuid4

import pytest

from routeapp.models import Settlement
from routeapp.settlements import queries
from tests import factories
from tests.cash.test_races import all_at_once
from tests.settlements.world import agree, arcade, visit

pytestmark = pytest.mark.django_db(transaction=True)


def asked(location, uuid=None, seen_cents=4_000):
    return f"/settlements/due/{location.pk}/2026-03-01/", {"uuid": uuid or uuid4(), "seen_cents": seen_cents}


def test_draft_issued_by_six_at_once_is_one_paper(owner):
    world, twice = arcade(owner), uuid4()
    visit(world, "one", 1, pay=1_500)

    codes = all_at_once(owner, [asked(world.location, uuid) for uuid in (twice, twice, None, None, None, None)])

    assert set(codes) <= {302, 422}  # those who come later are led to the paper, or told that it was issued
    [paper] = Settlement.objects.all()
    assert (paper.number, paper.cents, paper.closing_cents) == (1, 4_000, 2_500)
    assert queries.owed_cents([world.location.pk]) == {world.location.pk: 2_500}


def test_papers_of_many_locations_at_once_are_numbered_without_gaps(owner):
    world, locations = arcade(owner), []
    for name in ("Arcade", "Quay", "Pier", "Mill"):
        if locations:
            world.location = factories.LocationFactory(name=name, time_zone="America/Chicago")
            agree(world)
        visit(world, name, 1)
        locations.append(world.location)
    refused = asked(locations[0], seen_cents=1)

    codes = all_at_once(owner, [refused, *map(asked, locations), asked(locations[1])])

    papers = Settlement.objects.order_by("number")
    assert [one.number for one in papers] == [1, 2, 3, 4]
    assert {one.location_id for one in papers} == {one.pk for one in locations}
    assert set(codes) <= {302, 422}
