"""What the database itself holds of settlements."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import IntegrityError

from routeapp.models import Letter, Settlement, SettlementLine, StatementLink
from tests.settlements.world import IN_APRIL, issue

pytestmark = pytest.mark.django_db


def another(world, **more):
    facts = {"at": IN_APRIL, "received_at": IN_APRIL, "by": world.person, "location": world.location}
    said = {"uuid": uuid4(), "number": 7, "currency": "USD", "cents": 1, "moves_until": 0, **facts}
    return Settlement.objects.create(**{**said, "since": date(2026, 5, 1), "until": date(2026, 5, 31), **more})


@pytest.mark.parametrize(
    ("said", "rule"),
    [
        ({"until": date(2026, 4, 30)}, "settlement_ends_after_it_starts"),
        ({"reason": "Not void"}, "settlement_void_says_why"),
        ({"withdrawn_at": IN_APRIL, "reason": "No name"}, "routeapp_settlement_withdrawn_has_who_and_when"),
        ({"since": date(2026, 3, 1)}, "settlement_once_per_start|routeapp_settlement.location_id"),
        ({"number": 1}, "routeapp_settlement.number|number"),
    ],
)
def test_settlement_keeps_to_its_rules(world, said, rule):
    issue(world)
    with pytest.raises(IntegrityError, match=rule):
        another(world, **said)


def test_void_settlement_says_why(world):
    one = issue(world)
    with pytest.raises(IntegrityError, match="settlement_void_says_why"):
        Settlement.objects.filter(pk=one.pk).update(withdrawn_at=IN_APRIL, withdrawn_by=world.person)


def test_settlement_does_not_replace_itself(world):
    one = issue(world)
    with pytest.raises(IntegrityError, match="settlement_replaces_another"):
        Settlement.objects.filter(pk=one.pk).update(replaces=one)


def test_line_has_a_place_of_its_own_and_adjusts_another(world):
    one = issue(world)
    days = {"since": one.since, "until": one.until, "base_cents": 1, "rate": "1", "cents": 1}
    with pytest.raises(IntegrityError, match="settlement_line_adjusts_another"):
        SettlementLine.objects.create(settlement=one, place=9, adjusts=one, **days)


def test_line_shares_its_place_with_no_other(world):
    one = issue(world)
    days = {"since": one.since, "until": one.until, "base_cents": 1, "rate": "1", "cents": 1}
    with pytest.raises(IntegrityError, match=r"settlement_line_one_a_place|settlementline\.place"):
        SettlementLine.objects.create(settlement=one, place=1, **days)


def test_letter_has_a_problem_only_once_it_was_tried(world):
    facts = {"at": IN_APRIL, "received_at": IN_APRIL, "by": world.person}
    with pytest.raises(IntegrityError, match="letter_problem_only_when_tried"):
        Letter.objects.create(uuid=uuid4(), settlement=issue(world), to="a@b.example", problem="No", **facts)


def test_host_has_one_link_at_a_time(world):
    facts = {"at": IN_APRIL, "received_at": IN_APRIL, "by": world.person, "host": world.location.host}
    StatementLink.objects.create(code="a", **facts)
    with pytest.raises(IntegrityError, match=r"statement_link_one_per_host|statementlink\.host_id"):
        StatementLink.objects.create(code="b", **facts)
