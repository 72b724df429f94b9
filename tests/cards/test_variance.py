"""Plays paid by card are on the meter and not in the box: the variance knows, in whatever order things are told."""

from datetime import timedelta

import pytest
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from routeapp.cards import actions
from routeapp.cards.models import CardStatement
from routeapp.cash.models import CashMove
from routeapp.earnings.queries import book
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_figures import add_up
from routeapp.visits import queries, queries_questions, queries_sheet, rules_document
from tests import factories
from tests.cards import desk
from tests.visits.books import FOREVER, START, document, entry, make_world, record

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def world(route_hand):
    return make_world(route_hand)


def variances(world):
    """(by card, expected, variance) of each service entry of the first cabinet."""
    found = queries.figures([world.meters[0].machine_id], factories.LONG_AGO, FOREVER)
    return [(one.by_card, one.expected, one.variance) for one in found]


def visit(world, name, days, reading, cents):
    record(world, document(world, name, days=days, entries=[entry(world, name, reading=reading, cents=cents)]))


def sale(days, dollars, reader="R1"):
    return f"{START + days * DAY},{reader},{dollars},0,{days}"


def test_card_sales_are_taken_off_the_visit_in_whose_interval_they_happened(world, owner):
    machine = world.meters[0].machine
    desk.fit(owner, "R1", machine, START - DAY)
    visit(world, "a", 0, 150, 5000)  # nothing by card yet
    visit(world, "b", 7, 200, 4200)
    visit(world, "c", 14, 250, 4900)
    assert variances(world) == [(None, None, None)] * 3
    desk.brought(owner, sale(1, 5), sale(6.9, 3), sale(7, 0), sale(8, 1), sale(20, 9))
    assert variances(world) == [(0, 5000, 0), (800, 4200, 0), (100, 4900, 0)]


def test_variance_is_as_ever_where_the_cabinet_has_no_reader(world, owner):
    desk.fit(owner, "R1", world.meters[1].machine, START)
    visit(world, "a", 0, 150, 4000)
    assert variances(world) == [(0, 5000, -1000)]


def test_variance_is_not_known_until_statements_reach_the_visit(world, owner):
    desk.fit(owner, "R1", world.meters[0].machine, START)
    visit(world, "a", 0, 150, 5000)
    visit(world, "b", 7, 200, 4500)
    desk.brought(owner, sale(3, 5))
    assert variances(world) == [(0, 5000, 0), (None, None, None)]
    statement = desk.brought(owner, sale(3, 5), sale(8, 2))
    assert variances(world)[1] == (500, 4500, 0)
    actions.withdraw(statement=statement, by=owner, at=FOREVER)
    assert variances(world)[1] == (None, None, None)


def test_reader_that_was_taken_out_needs_no_later_statement(world, owner):
    machine = world.meters[0].machine
    desk.fit(owner, "R1", machine, START)
    desk.fit(owner, "R1", None, START + 2 * DAY)
    desk.brought(owner, sale(1, 5), sale(3, 1, "R2"))
    visit(world, "a", 0, 150, 5000)
    visit(world, "b", 7, 200, 4500)
    assert variances(world)[1] == (500, 4500, 0)


def test_nobody_is_asked_about_cash_while_some_plays_were_paid_by_card(world, owner):
    raw = document(world, "a", entries=[entry(world, "a", reading=150, cents=100)])
    asked = queries_questions.questions(rules_document.read(raw))
    assert list(asked) == ["entries.0.cash"]
    desk.fit(owner, "R1", world.meters[0].machine, START - DAY)
    assert queries_questions.questions(rules_document.read(raw)) == {}
    sheet = queries_sheet.sheet(world.location, owner, START)
    assert [(one.by_card, one.carried.expected) for one in sheet.cabinets] == [(True, None), (False, 0)]


def test_visit_page_says_what_was_paid_by_card(world, owner, owner_client):
    desk.fit(owner, "R1", world.meters[0].machine, START - DAY)
    visit(world, "a", 0, 150, 4800)
    page = reverse("visit", args=[document(world, "a")["id"]])
    assert "no statement tells so far" in owner_client.get(page).content.decode()
    desk.brought(owner, sale(-0.5, 2), sale(1, 1))
    assert "$2.00, taken off what the meter says" in owner_client.get(page).content.decode()


def test_take_has_card_sales_apart_from_cash(world, owner, owner_client):
    desk.fit(owner, "R1", world.meters[0].machine, START - DAY)
    visit(world, "a", 0, 150, 4800)
    desk.brought(owner, sale(1, 2), sale(1.01, 3), sale(2, 4))
    span = Span(START.date(), START.date() + 7 * DAY)
    figures = add_up(book(span).lines)
    assert (figures.take, figures.by_card, figures.visits) == (4800 + 900, 900, 1)
    days = {"since": span.since, "until": span.until}
    takes = owner_client.get(reverse("earnings-takes"), days).content.decode()
    assert "$9.00 of it paid by card" in takes
    rows = b"".join(owner_client.get(reverse("earnings-takes"), days | {"as": "csv"})).decode().splitlines()
    assert [row.split(",")[4:7] for row in rows[1:]] == [
        ["", "4.00", "4.00"],
        ["", "5.00", "5.00"],
        ["Tomas", "48.00", "0.00"],
    ]
    assert "$57.00" in owner_client.get(reverse("earnings"), days).content.decode()


STEPS = ["reader", "moved", "first", "second", "visit a", "visit b", "placed"]


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=st.permutations(STEPS))
def test_order_in_which_things_are_told_does_not_matter(world, owner, order):
    """Readers, statements and visits tell the same books in any order."""
    from django.db import transaction

    one, other = (meter.machine for meter in world.meters)
    deeds = {
        "reader": lambda: desk.fit(owner, "R1", one, START - DAY),
        "moved": lambda: desk.fit(owner, "R1", other, START + 3 * DAY),
        "first": lambda: desk.brought(owner, sale(1, 5), sale(2, 3), at=FOREVER),
        "second": lambda: desk.brought(owner, sale(2, 3), sale(5, 7), sale(9, 1), at=FOREVER),
        "visit a": lambda: visit(world, "a", 0, 150, 5000),
        "visit b": lambda: visit(world, "b", 7, 200, 4200),
        "placed": lambda: actions.match_again(by=owner, at=FOREVER),
    }
    with transaction.atomic():
        for step in order:
            deeds[step]()
        sold = [
            (move.machine_id, move.cents, move.day)
            for move in CashMove.objects.standing().filter(to_purse="cards").order_by("at")
        ]
        assert [each[:2] for each in sold] == [(one.pk, 500), (one.pk, 300), (other.pk, 700), (other.pk, 100)]
        assert variances(world) == [(0, 5000, 0), (800, 4200, 0)]
        assert CardStatement.objects.count() == 2
        transaction.set_rollback(True)
