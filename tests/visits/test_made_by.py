"""Who made a visit stays who made it, whoever corrects it, in whatever order both arrive."""

from datetime import date
from importlib import import_module
from itertools import permutations

import pytest
from django.apps import apps
from django.db.models import F
from django.urls import reverse

from routeapp.cash.models import Bag
from routeapp.earnings.queries import book
from routeapp.earnings.rules import Span
from routeapp.models import Visit
from routeapp.planning.queries_driven import driven
from routeapp.visits.queries_trips import proposals
from tests.visits.books import START, document, entry, make_world, record, snapshot, some_id

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


def versions(world):
    """What the hand entered, what the owner made of it, and what the owner made of that."""
    amends = {"reason": "Miscounted", "loose_bag": document(world, "a")["loose_bag"]}
    return (
        document(world, "a", entries=[entry(world, "a", reading=150, cents=5000)]),
        document(world, "b", entries=[entry(world, "b", reading=150, cents=4900)], replaces=some_id("a"), **amends),
        document(world, "c", entries=[entry(world, "c", reading=150, cents=4800)], replaces=some_id("b"), **amends),
    )


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_corrections_count_for_whoever_made_the_visit(world, owner, route_hand, order):
    told = [(raw, by) for raw, by in zip(versions(world), (route_hand, owner, owner), strict=True)]
    for number in order:
        record(world, told[number][0], by=told[number][1])

    assert set(Visit.objects.values_list("made_by", flat=True)) == {route_hand.pk}
    assert [visit.by for visit in Visit.objects.live()] == [owner]
    assert [bag.by for bag in Bag.objects.all()] == [route_hand]
    assert snapshot(world)["made by"] == {(START, route_hand.pk)}


def test_corrected_visit_is_a_stop_of_whoever_made_it(world, owner, owner_client, route_hand):
    first, second, _ = versions(world)
    record(world, first, by=route_hand, at=START)
    record(world, second, by=owner, at=START)

    now = START.replace(hour=20)
    lines = book(Span(date(2026, 3, 1), date(2026, 3, 7))).lines
    assert [line.person for line in lines] == [route_hand.pk]
    assert [one.driver for one in proposals(now, "km")] == [route_hand]
    assert [one.person for one in driven(now)] == [route_hand.pk]
    page = owner_client.get(reverse("visit", args=[some_id("b")])).content.decode()
    assert "<dt>Who</dt><dd>Tomas" in page
    assert ", by Ines" in page


def test_corrections_of_before_are_given_to_whoever_made_the_visit(world, owner, route_hand):
    for raw, by in zip(versions(world), (route_hand, owner, owner), strict=True):
        record(world, raw, by=by)
    record(world, document(world, "own", days=1), by=owner)
    Visit.objects.update(made_by=F("by"))
    Bag.objects.update(by=owner)

    import_module("routeapp.migrations.0024_visits_made_by").say_who(apps, None)

    people = {str(pk): person for pk, person in Visit.objects.values_list("pk", "made_by")}
    assert people == {some_id(name): route_hand.pk for name in "abc"} | {some_id("own"): owner.pk}
    assert [bag.by for bag in Bag.objects.all()] == [route_hand]
