"""Readings of a prizes meter, counts and loads, in whatever order and also taken back: settled step by step they come
to what the rules make of all of them at once."""

import re
from collections import Counter
from datetime import timedelta
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from machines.cabinets import rules
from machines.cabinets.actions_meters import append
from machines.cabinets.queries_meters import shown
from machines.models import Reading
from routeapp.stock import actions
from routeapp.stock.models import Holding, Place, PlaceKind, StockCount, StockMove
from routeapp.stock.queries_settling import Window
from routeapp.stock.rules_settling import Counted, Moved, Outcome, Told, settle
from tests import factories

LAST = 7  # hours, of which each has so many prizes won
pieces = st.dictionaries(st.integers(0, 1), st.integers(0, 9), max_size=2) | st.fixed_dictionaries(
    {0: st.integers(2, 10), 1: st.integers(2, 10)}
)
every_kind = st.fixed_dictionaries({0: st.integers(0, 9), 1: st.integers(0, 9)})
paper = {
    "source": st.uuids(),
    "hour": st.integers(1, LAST),
    "read": st.sampled_from(["right", "right", "right", "misread", ""]),
    "explained": st.sampled_from(["", "", "", "last_was_wrong", "unknown", "reset"]),
    "baseline": st.sampled_from([False] * 9 + [True]),
    "found": st.just({}) | st.just({}) | pieces,
    "exact": st.sampled_from([True, True, True, False]),
    "loaded": st.just({}) | pieces,
}
usual = {"read": st.just("right"), "explained": st.just(""), "baseline": st.just(False), "found": every_kind}


def papers_of(one):
    return st.lists(one, min_size=3, max_size=8, unique_by=lambda one: one["source"])


papers = papers_of(st.fixed_dictionaries(paper))
mostly_usual = papers_of(
    st.fixed_dictionaries(paper)
    | st.fixed_dictionaries(paper | usual)
    | st.fixed_dictionaries(paper | usual | {"read": st.just(""), "loaded": st.just({})})
    | st.fixed_dictionaries(paper | usual | {"found": st.just({})})
)
START = {"source": uuid4(), "hour": 0, "read": "", "found": {}, "loaded": {0: 12, 1: 9}}


@pytest.fixture
def cast(owner):
    meter = factories.MeterFactory(counts="prizes_out", value_cents=0, digits=3)
    Reading.objects.create(
        meter=meter, value=990, kind="baseline", by=owner, at=factories.LONG_AGO, received_at=factories.LONG_AGO
    )
    return SimpleNamespace(
        owner=owner,
        meter=meter,
        store=Place.objects.create(kind=PlaceKind.STORE, name="Store"),
        cabinet=actions.cabinet_place(meter.machine),
        prizes=[factories.PrizeFactory(name=name) for name in ("bear", "ring")],
    )


def write(cast, paper, wins):
    at, source = factories.LONG_AGO + timedelta(hours=paper["hour"]), paper["source"]
    read = {}
    if paper["read"]:
        value = (990 + sum(wins[: paper["hour"]]) + 40 * (paper["read"] == "misread")) % 1000
        kind = "baseline" if paper["baseline"] else "reading"
        told = {"explained_as": "" if paper["baseline"] else paper["explained"], "kind": kind}
        reading = Reading(meter=cast.meter, value=value, at=at, source=source, **told)
        append(readings=[reading], by=cast.owner, at=at)
        read = {cast.meter.machine_id: at}
    counts = [
        StockCount(
            prize=cast.prizes[number],
            place=cast.cabinet,
            quantity=many,
            estimated=not paper["exact"],
            at=at,
            source=source,
        )
        for number, many in paper["found"].items()
    ]
    ends = {"from_place": cast.store, "to_place": cast.cabinet}
    loads = [
        StockMove(prize=cast.prizes[number], quantity=many, at=at, source=source, **ends)
        for number, many in paper["loaded"].items()
        if many
    ]
    actions.record(moves=loads, counts=counts, read=read, by=cast.owner, at=at)


def take_back(cast, paper):
    Reading.objects.withdraw(sources=[paper["source"]], by=cast.owner, at=factories.LONG_AGO)
    actions.take_back(sources=[paper["source"]], by=cast.owner, at=factories.LONG_AGO)


def facts(cast):
    """All that holds about the cabinet."""
    order = ("at", "-kind", "source", "value")
    readings = [shown(one) for one in Reading.objects.live().filter(meter=cast.meter).order_by(*order)]
    for one in rules.intervals(readings, cast.meter.digits):
        if one.counts is not None:
            yield Told(one.end.at, one.end.key, one.start.at, one.counts)
    for one in StockCount.objects.live().order_by("at", "source", "prize"):
        yield Counted(one.at, one.prize_id, one.pk, one.quantity, not one.estimated)
    for one in StockMove.objects.entered():
        into = one.to_place_id == cast.cabinet.pk
        yield Moved(one.at, one.prize_id, one.quantity if into else -one.quantity)


def settled(cast):
    found = Counter()
    for move in StockMove.objects.exclude(settles=None, metered=None):
        out = move.from_place_id == cast.cabinet.pk
        other = move.to_place if out else move.from_place
        outcome = Outcome(move.prize_id, other.kind == PlaceKind.PLAYERS, move.settles_id, move.metered_id)
        found[outcome] += move.quantity if out else -move.quantity
    return {outcome: pieces for outcome, pieces in found.items() if pieces}


@given(papers=papers, wins=st.lists(st.integers(0, 4), min_size=LAST, max_size=LAST), data=st.data())
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_step_by_step_it_comes_to_what_the_rules_make_of_all_facts(cast, papers, wins, data):
    if data.draw(st.booleans()):
        papers.sort(key=lambda paper: paper["hour"])
    taken_back = data.draw(st.lists(st.sampled_from(range(len(papers))), max_size=2, unique=True))
    with transaction.atomic():
        write(cast, START, wins)
        for number, paper in enumerate(papers):
            write(cast, paper, wins)
            if number - 1 in taken_back:
                take_back(cast, papers[number - 1])

        known = list(facts(cast))
        assert settled(cast) == settle({}, known, factories.LONG_AGO)
        held = {
            prize.pk: sum(fact.pieces for fact in known if isinstance(fact, Moved) and fact.prize == prize.pk)
            for prize in cast.prizes
        }
        for outcome, pieces in settled(cast).items():
            held[outcome.prize] -= pieces
        kept = dict(Holding.objects.filter(place=cast.cabinet).exclude(pieces=0).values_list("prize", "pieces"))
        assert kept == {prize: pieces for prize, pieces in held.items() if pieces}
        transaction.set_rollback(True)


@given(papers=mostly_usual, wins=st.lists(st.integers(0, 4), min_size=LAST, max_size=LAST), late=st.booleans())
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_where_moves_need_not_be_asked_for_they_would_change_nothing(cast, papers, wins, late):
    in_order = sorted(papers, key=lambda paper: paper["hour"])
    if late:
        in_order.append(in_order.pop(-2))

    def moves():
        with transaction.atomic():
            for paper in [START, *in_order]:
                write(cast, paper, wins)
            rows = sorted(StockMove.objects.values_list(*MOVED), key=str)
            transaction.set_rollback(True)
        return rows

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Window, "needs_moves", lambda *_: True)
        asked_for = moves()
    assert moves() == asked_for


def test_a_visit_that_reads_and_counts_as_the_last_one_did_asks_for_no_moves(cast):
    usual = {
        "read": "right",
        "explained": "",
        "baseline": False,
        "exact": True,
        "found": {0: 5, 1: 5},
        "loaded": {0: 5},
    }
    write(cast, START, [0] * LAST)
    write(cast, {"source": uuid4(), "hour": 1, **usual}, [0] * LAST)
    with CaptureQueriesContext(connection) as asked:
        write(cast, {"source": uuid4(), "hour": 2, **usual}, [0] * LAST)

    assert [one["sql"] for one in asked if re.match('SELECT .* FROM "routeapp_stockmove"', one["sql"])] == []


PLACES = ("from_place__name", "to_place__name")  # those beyond us get other numbers when they are made again
MOVED = ("at", "source", "prize", *PLACES, "quantity", "settles__source", "metered__source")
