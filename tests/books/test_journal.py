"""The journal of the demo, read by beancount, against what the pages add up."""

from collections import Counter
from datetime import UTC, date, datetime, timedelta

import pytest
from beancount import loader
from beancount.core.data import Open, Transaction
from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from routeapp.books import rules
from routeapp.books.queries_journal import chart, journal
from routeapp.cash.models import CashMove
from routeapp.data.demo.load import load
from routeapp.earnings.queries_report import report
from routeapp.earnings.queries_take import take_between
from routeapp.earnings.rules import Span
from routeapp.settlements.models import Settlement
from routeapp.stock import actions as stock
from routeapp.stock.models import Place, PlaceKind, Prize

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 1, 19, tzinfo=UTC)
TODAY = date(2026, 6, 1)
MONTHS = [date(2026, month, 1) for month in (3, 4, 5)]


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker):
    """A small demo, loaded once for this module and taken away afterwards."""
    with django_db_blocker.unblock(), transaction.atomic(), timezone.override("America/Chicago"):
        load(now=NOW, say=lambda line: None, seed=11, months=3, locations=8)
        yield
        transaction.set_rollback(True)


def read():
    """The ledger as beancount reads it, which refuses what does not balance."""
    accounts = chart()
    text = "".join(rules.ledger(journal(TODAY, accounts), accounts.all(), "Demo", "USD"))
    entries, errors, _ = loader.load_string(text)
    assert errors == []
    return entries


def cents(amount):
    return int(amount.number * 100)


def totals(entries):
    """Minor units by month and the first two parts of the account."""
    found = Counter()
    for one in entries:
        for posting in one.postings if isinstance(one, Transaction) else ():
            name = ":".join(posting.account.split(":")[:2])
            found[one.date.replace(day=1), name] += cents(posting.units)
    return found


@pytest.fixture(scope="module")
def booked(demo, django_db_blocker):
    with django_db_blocker.unblock():
        return totals(read())


def moved(purse, month):
    """Into a purse less out of it, by adding up the moves alone."""
    moves = CashMove.objects.filter(day__gte=month, day__lt=rules.month_after(month))
    into, out = (
        moves.filter(**{end: purse}).aggregate(all=Sum("cents"))["all"] or 0 for end in ("to_purse", "from_purse")
    )
    return into - out


@pytest.mark.parametrize("month", MONTHS)
def test_take_and_prizes_are_those_of_the_earnings(booked, month):
    last = rules.month_after(month) - timedelta(days=1)
    assert -booked[month, "Income:Take"] == take_between(month, last) > 0
    total = report(Span(month, last), TODAY).total.figures
    assert booked[month, "Expenses:Prizes-Won"] == total.prize_cost > 0


PURSES = {
    "Assets:Boxes": "box",
    "Assets:Bags": "bag",
    "Assets:Bank": "bank",
    "Expenses:Over-Short": "over_short",
    "Assets:Card-Processor": "cards",
    "Expenses:Card-Fees": "fees",
    "Expenses:Refunds": "refunds",
    "Expenses:Costs": "costs",
    "Equity:Owner": "owner",
}


@pytest.mark.parametrize("month", MONTHS)
def test_every_purse_is_an_account(booked, month):
    assert {name: booked[month, name] for name in PURSES} == {
        name: moved(purse, month) for name, purse in PURSES.items()
    }


def test_hosts_are_owed_what_was_issued_less_what_they_were_paid(booked):
    owed = sum(amount for (_, name), amount in booked.items() if name == "Liabilities:Hosts")
    issued = Settlement.objects.live().aggregate(all=Sum("cents"))["all"] or 0
    paid = sum(moved("host", month) for month in (*MONTHS, TODAY))
    assert owed == paid - issued


def test_all_together_is_nothing(booked):
    assert sum(booked.values()) == 0


def test_every_account_in_use_is_opened_once(demo):
    opened = [one.account for one in read() if isinstance(one, Open)]
    assert len(opened) == len(set(opened))


def test_csv_balances_line_by_line(demo):
    lines = list(rules.rows(journal(TODAY), "USD"))
    debit, credit = (sum(round(float(line[place]) * 100) for line in lines[1:] if line[place]) for place in (4, 5))
    assert debit == credit > 0
    assert len(lines) % 2 == 1


def test_late_delivery_changes_no_closed_month(demo, django_user_model):
    from routeapp.books.actions import close_month, reopen_month

    who = django_user_model.objects.first()
    before = totals(read())
    with transaction.atomic():
        last = None
        for month in MONTHS:
            last = close_month(month=month, note="as it is", by=who, at=NOW)
        assert totals(read()) == before
        prize = Prize.objects.filter(moves__cost_cents__gt=0).first()
        stock.move(
            prize=prize,
            quantity=500,
            cost_cents=250_000,
            from_place=stock.beyond(PlaceKind.SUPPLIER),
            to_place=Place.objects.filter(kind=PlaceKind.STORE).first(),
            by=who,
            at=NOW - timedelta(days=80),
            received_at=NOW + timedelta(minutes=5),
        )
        after = totals(read())
        changed = {month for month, name in after | before if after[month, name] != before[month, name]}
        assert changed == {TODAY}
        assert after[TODAY, "Expenses:Prizes-Won"] != before[TODAY, "Expenses:Prizes-Won"]
        reopen_month(close=last, reason="the bill came", by=who, at=NOW + timedelta(minutes=9))
        assert {month for month, _ in totals(read())} == {*MONTHS, TODAY}
        transaction.set_rollback(True)
