"""The books do not depend on the order, the number or the detours of visits."""

import random
from datetime import timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from machines.cabinets.actions_meters import take_reading
from routeapp.stock import actions as stock
from routeapp.stock.models import StockMove
from routeapp.visits import rules_document
from routeapp.visits.actions import record_visits
from tests import factories
from tests.visits.books import (
    FOREVER,
    START,
    add_prizes_meter,
    document,
    entry,
    make_world,
    purse_balances,
    record,
    snapshot,
    stock_balances,
)

pytestmark = pytest.mark.django_db

ONE_DATABASE = settings(
    max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
MANY_PAPERS = settings(ONE_DATABASE, max_examples=25)
pieces = st.dictionaries(st.integers(0, 1), st.integers(0, 40), max_size=2)
entries = st.fixed_dictionaries(
    {
        "cabinet": st.integers(0, 1),
        "reading": st.none() | st.integers(0, 3000),
        "cents": st.none() | st.integers(0, 50_000),
        "found": pieces,
        "loaded": pieces,
        "sealed": st.booleans(),
        "tests_after": st.integers(0, 3),
    }
)


def stops_of(entries, least=1, most=5):
    return st.lists(
        st.fixed_dictionaries(
            {
                "days": st.sampled_from([0.0, 1.0, 3.5, 5.0, 8.0, 13.0]),
                "entries": st.lists(entries, min_size=1, max_size=2, unique_by=lambda one: one["cabinet"]),
                "corrected": st.sampled_from(["no", "yes", "withdrawn"]),
                "pay": st.booleans(),
            }
        ),
        min_size=least,
        max_size=most,
    )


stops = stops_of(entries)
few = st.dictionaries(st.integers(0, 1), st.integers(0, 12), max_size=2)
metered = st.fixed_dictionaries(  # at the cabinet that has a prizes meter of three digits
    {
        "cabinet": st.just(0),
        "out": st.none() | st.integers(0, 12) | st.integers(990, 999),
        "explained": st.sampled_from(["", "", "", "", "right", "reset", "last_was_wrong", "unknown"]),
        "found": st.just({}) | few,
        "found_estimated": st.booleans(),
        "loaded": few,
        "sealed": st.just(False),
    }
)
starts = st.lists(
    st.tuples(st.sampled_from([2.0, 3.5, 6.0]), st.integers(0, 20)), max_size=2, unique_by=lambda one: one[0]
)


def made(world, name, stop, **more):
    parts = []
    for one in stop["entries"]:
        facts = {key: value for key, value in one.items() if key not in ("sealed", "cabinet")}
        if one["sealed"]:
            bag = {"id": document(world, f"seal {name.split()[0]}")["id"], "number": f"S-{name}"}
            facts |= {"cents": None, "cash": {"taken": "sealed", "bag": bag, "estimate_cents": 100}}
        parts.append(entry(world, name, one["cabinet"], **facts))
    payment = {"cents": 500, "received_by": "Mika"} if stop["pay"] else None
    bag = document(world, name.split()[0])["loose_bag"]
    return document(world, name, days=stop["days"], entries=parts, host_payment=payment, **{"loose_bag": bag, **more})


def documents(world, stops):
    """The documents of some stops; a corrected one was wrong at first, a withdrawn one should not have been."""
    for number, stop in enumerate(stops):
        if stop["corrected"] == "no":
            yield made(world, f"{number}", stop)
            continue
        wrong = made(world, f"{number} wrong", {**stop, "entries": stop["entries"][:1], "pay": True})
        yield wrong
        amends = {"replaces": wrong["id"], "reason": "typed it wrong"}
        if stop["corrected"] == "yes":
            yield made(world, f"{number}", stop, **amends)
        else:
            nothing = {"entries": [], "pay": False, "days": stop["days"]}
            yield made(world, f"{number}", nothing, void=True, **amends)


class UndoError(Exception):
    pass


def one_by_one(world, papers):
    for raw in papers:
        record(world, raw)


def at_once(world, papers):
    record_visits(documents=[rules_document.read(raw) for raw in papers], by=world.person, at=FOREVER)


def books_after(world, papers, write=one_by_one):
    """The books after recording these documents in this order; the database is left as it was."""
    try:
        with transaction.atomic():
            write(world, papers)
            seen = snapshot(world)
            raise UndoError
    except UndoError:
        return seen


@ONE_DATABASE
@given(stops=stops, seed=st.integers(0, 10_000))
def test_books_are_the_same_in_any_order_and_with_repeats(owner, stops, seed):
    with transaction.atomic():
        world = make_world(owner)
        papers = list(documents(world, stops))
        shuffled = papers * 2
        random.Random(seed).shuffle(shuffled)

        assert books_after(world, shuffled) == books_after(world, papers)
        transaction.set_rollback(True)


@MANY_PAPERS
@given(stops=stops_of(metered, 2, 6), starts=starts, seed=st.integers(0, 10_000))
def test_a_prizes_meter_makes_the_same_books_in_any_order(owner, stops, starts, seed):
    with transaction.atomic():
        world = add_prizes_meter(make_world(owner), shown=995)
        papers = [*documents(world, stops), *starts]
        shuffled = random.Random(seed).sample(papers, len(papers))

        assert books_after(world, shuffled, with_starts) == books_after(world, papers, with_starts)
        transaction.set_rollback(True)


def with_starts(world, papers):
    """Visits, and (days, value) where the prizes meter started anew; all of it is settled once."""
    for paper in papers:
        if isinstance(paper, tuple):
            at = START + timedelta(days=paper[0])
            take_reading(meter=world.out, value=paper[1], kind="baseline", by=world.person, at=at, received_at=FOREVER)
        else:
            record(world, paper)
    before = StockMove.objects.count()
    stock.record(read={world.out.machine_id: factories.LONG_AGO}, by=world.person, at=FOREVER)
    assert StockMove.objects.count() == before


@ONE_DATABASE
@given(stops=stops_of(metered, 2, 5))
def test_a_corrected_prizes_meter_equals_having_read_it_right_at_first(owner, stops):
    with transaction.atomic():
        world = add_prizes_meter(make_world(owner), shown=995)
        right = [
            made(world, f"{number}", stop) for number, stop in enumerate(stops) if stop["corrected"] != "withdrawn"
        ]

        assert books_after(world, documents(world, stops)) == books_after(world, right)
        assert books_after(world, right, at_once) == books_after(world, right)
        transaction.set_rollback(True)


@ONE_DATABASE
@given(stops=stops, seed=st.integers(0, 10_000), known=st.integers(0, 2))
def test_visits_recorded_at_once_make_the_books_of_visits_recorded_one_by_one(owner, stops, seed, known):
    with transaction.atomic():
        world = make_world(owner)
        papers = [made(world, f"{number}", stop) for number, stop in enumerate(stops)]
        one_by_one(world, papers[:known])
        shuffled = random.Random(seed).sample(papers, len(papers))

        assert books_after(world, shuffled, at_once) == books_after(world, papers)
        transaction.set_rollback(True)


@ONE_DATABASE
@given(stops=stops)
def test_correction_equals_having_entered_it_right_at_first(owner, stops):
    with transaction.atomic():
        world = make_world(owner)
        right = [
            made(world, f"{number}", stop) for number, stop in enumerate(stops) if stop["corrected"] != "withdrawn"
        ]

        assert books_after(world, documents(world, stops)) == books_after(world, right)
        transaction.set_rollback(True)


@ONE_DATABASE
@given(stops=stops)
def test_money_and_goods_are_conserved(owner, stops):
    with transaction.atomic():
        world = make_world(owner)
        for raw in documents(world, stops):
            record(world, raw)

        assert sum(stock_balances().values()) == 0
        assert sum(purse_balances().values()) == 0
        assert not [key for key, cents in purse_balances().items() if key[0] == "box" and cents]
        assert snapshot(world)["holdings"] == {
            key: pieces
            for key, pieces in stock_balances().items()
            if key[0] not in ("Suppliers", "Players", "Shrinkage")
        }
        transaction.set_rollback(True)
