"""Whatever moves, counts and corrections arrive, and in whatever order: the books are those worked out on paper."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from routeapp.stock import actions
from routeapp.stock.actions_ledger import rebuild_costs
from routeapp.stock.models import Holding, Place, PlaceKind, PrizeCost, StockCount, StockMove
from tests import factories
from tests.stock import ledger
from tests.stock.ledger import OURS, Counted, Moved

PRIZES = ("bear", "ring")
hours = st.integers(0, 2).map(lambda hour: factories.LONG_AGO + timedelta(hours=hour))
prizes = st.sampled_from([*PRIZES, "bear", "bear"])  # mostly one, so that facts meet
routes = st.sampled_from([(start, end) for start in OURS for end in OURS if start != end])


def moved(source):
    return st.builds(
        lambda at, prize, pieces, route: Moved(source, at, prize, pieces, *route),
        hours,
        prizes,
        st.integers(1, 30),
        routes,
    )


def delivered(source):
    return st.builds(
        lambda at, prize, pieces, end, cost: Moved(source, at, prize, pieces, "supplier", end, cost),
        hours,
        prizes,
        st.integers(1, 30),
        st.sampled_from(["store", "van"]),
        st.integers(0, 5000),
    )


def counted(source):
    return st.builds(Counted, st.just(source), hours, prizes, st.integers(0, 30), st.sampled_from(OURS))


def document(source):
    """What one paper says; one paper counts a prize in a place once per moment."""
    facts = st.lists(st.one_of(moved(source), delivered(source), counted(source)), min_size=1, max_size=5)
    return facts.filter(
        lambda some: (
            len({(f.at, f.prize, f.place) for f in some if isinstance(f, Counted)})
            == sum(isinstance(f, Counted) for f in some)
        )
    )


documents = st.lists(st.uuids(), min_size=1, max_size=6, unique=True).flatmap(
    lambda sources: st.tuples(*[document(source) for source in sources])
)
steps = documents.flatmap(
    lambda papers: st.tuples(st.just(papers), st.lists(st.integers(0, len(papers) - 1), max_size=3))
)


@pytest.fixture
def cast(owner):
    cabinet = actions.cabinet_place(factories.MachineFactory())
    places = {
        "store": Place.objects.create(kind=PlaceKind.STORE, name="Store"),
        "van": Place.objects.create(kind=PlaceKind.VAN, name="Van"),
        "cabinet": cabinet,
        "supplier": actions.beyond(PlaceKind.SUPPLIER),
    }
    return owner, places, {name: factories.PrizeFactory(name=name) for name in PRIZES}


def write(paper, cast, at):
    owner, places, prize = cast
    moves = [
        StockMove(
            prize=prize[fact.prize],
            quantity=fact.pieces,
            from_place=places[fact.start],
            to_place=places[fact.end],
            cost_cents=fact.cost,
            at=fact.at,
            source=fact.source,
        )
        for fact in paper
        if isinstance(fact, Moved)
    ]
    counts = [
        StockCount(
            prize=prize[fact.prize], place=places[fact.place], quantity=fact.pieces, at=fact.at, source=fact.source
        )
        for fact in paper
        if isinstance(fact, Counted)
    ]
    actions.record(moves=moves, counts=counts, by=owner, at=at)


def held(place, prize):
    found = Holding.objects.filter(place=place, prize=prize).first()
    return found.pieces if found else 0


def moved_in(place, prize):
    mine = StockMove.objects.filter(prize=prize)
    return sum(one.quantity for one in mine.filter(to_place=place)) - sum(
        one.quantity for one in mine.filter(from_place=place)
    )


def missing_by(count):
    out = count.settled_by.filter(from_place=count.place)
    back = count.settled_by.filter(to_place=count.place)
    return sum(one.quantity for one in out) - sum(one.quantity for one in back)


def check(facts, cast):
    _, places, prizes = cast
    for name, prize in prizes.items():
        for kind in OURS:
            pieces, missing = ledger.holding(facts, kind, name)
            assert held(places[kind], prize) == pieces
            assert moved_in(places[kind], prize) == pieces
            counts = StockCount.objects.live().filter(place=places[kind], prize=prize)
            found = {(one.source, one.at): missing_by(one) for one in counts}
            assert found == {(fact.source, fact.at): by for fact, by in missing.items()}
        costs = PrizeCost.objects.filter(prize=prize).values_list("since", "quantity", "value_cents")
        assert list(costs) == ledger.averages(facts, name)
        kept = list(costs)
        rebuild_costs(prize.pk)
        assert list(costs.all()) == kept
    assert sum(moved_in(place, prize) for place in Place.objects.all() for prize in prizes.values()) == 0
    assert [missing_by(one) for one in StockCount.objects.exclude(withdrawn_at=None) if missing_by(one)] == []


@given(story=steps, data=st.data())
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_books_do_not_depend_on_the_order_of_papers_nor_on_what_was_taken_back_and_when(cast, noon, story, data):
    papers, taken_back = story
    written = set()
    with transaction.atomic():
        for number in data.draw(st.permutations([*range(len(papers)), *taken_back])):
            if number in written:
                actions.take_back(sources=[papers[number][0].source], by=cast[0], at=noon)
            else:
                write(papers[number], cast, noon)
            written.add(number)
        check([fact for number, paper in enumerate(papers) if number not in taken_back for fact in paper], cast)
        transaction.set_rollback(True)


FIRST, SECOND, THIRD, LATE = (UUID(int=number) for number in (1, 2, 3, 4))


def at_hour(hour):
    return factories.LONG_AGO + timedelta(hours=hour)


def test_a_move_in_the_minute_of_a_count_comes_after_it_for_late_facts_too(cast, noon):
    papers = [
        [Counted(FIRST, at_hour(0), "bear", 10, "store"), Moved(FIRST, at_hour(0), "bear", 5, "van", "store")],
        [Counted(SECOND, at_hour(2), "bear", 12, "store")],
        [Moved(LATE, at_hour(1), "bear", 2, "store", "cabinet")],
    ]

    for paper in papers:
        write(paper, cast, noon)

    assert missing_by(StockCount.objects.get(source=SECOND)) == 1
    check([fact for paper in papers for fact in paper], cast)


def test_of_two_counts_in_one_minute_the_same_one_stands_whichever_came_first(cast, noon):
    papers = [
        [Counted(SECOND, at_hour(0), "bear", 8, "store")],
        [Counted(FIRST, at_hour(0), "bear", 10, "store")],
        [Counted(THIRD, at_hour(2), "bear", 5, "store")],
        [Moved(LATE, at_hour(1), "bear", 1, "store", "van")],
    ]

    for paper in papers:
        write(paper, cast, noon)

    assert missing_by(StockCount.objects.get(source=THIRD)) == 2
    check([fact for paper in papers for fact in paper], cast)
