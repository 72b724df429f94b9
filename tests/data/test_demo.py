"""The demo: a story that is the same for the same seed, books that add up, every oddity there, no foreign database."""

import os
import subprocess
import sys
from collections import Counter, defaultdict
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from beancount import loader
from beancount.core.data import Open, Transaction
from django.conf import settings
from django.db import transaction
from django.db.models import Sum

from locations.models import Agreement, Placement
from machines.models import Fault, Machine, Meter, Reading
from routeapp.books import rules
from routeapp.books.actions import close_month, reopen_month
from routeapp.books.queries_checklist import next_to_close
from routeapp.books.queries_journal import chart, journal
from routeapp.books.rules_accounts import COSTS, spent_on
from routeapp.cash.queries import uncounted_bags
from routeapp.data.demo import oddities
from routeapp.data.demo.load import load
from routeapp.data.demo.names import TRIED, ZONE
from routeapp.data.demo.story import begin, play
from routeapp.earnings.queries_prizes import Prizes
from routeapp.earnings.queries_report import report
from routeapp.earnings.queries_take import take_between
from routeapp.earnings.rules import Span
from routeapp.expenses.rules import Category
from routeapp.models import (
    BagCount,
    CashMove,
    Holding,
    Photo,
    Place,
    Prize,
    ServiceEntry,
    Settlement,
    StockCount,
    Visit,
)
from routeapp.stock import actions as stock
from routeapp.stock.models import PlaceKind
from routeapp.visits import queries
from tests.visits.books import purse_balances, stock_balances

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 1, 19, tzinfo=UTC)
SMALL = {"seed": 11, "months": 4, "locations": 8}


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker):
    """A scaled-down demo, loaded once for this module and taken away afterwards."""
    with django_db_blocker.unblock(), transaction.atomic():
        load(now=NOW, say=lambda line: None, **SMALL)
        yield
        transaction.set_rollback(True)


def machine(code):
    return Machine.objects.get(code=code)


def figures(code):
    return queries.figures([machine(code).pk], NOW - timedelta(days=200), NOW)


def told(**changed):
    world, changes = begin(NOW.replace(tzinfo=None), **{**SMALL, "months": 2, **changed})
    return play(world, changes)


def test_same_seed_tells_the_same_story():
    assert told() == told()


def test_another_seed_tells_another_story():
    assert told() != told(seed=12)


def test_money_and_prizes_are_conserved(demo):
    assert sum(purse_balances().values()) == 0
    assert sum(stock_balances().values()) == 0
    moved = stock_balances()
    for place, prize, pieces in Holding.objects.values_list("place__name", "prize__name", "pieces"):
        assert moved.get((place, prize), 0) == pieces


def test_no_cash_box_bag_or_shelf_is_ever_below_zero(demo):
    held = defaultdict(int)
    for (purse, cabinet, _, bag), cents in purse_balances().items():
        held[purse, {"box": cabinet, "bag": bag}.get(purse)] += cents
    assert [key for key, cents in held.items() if key[0] in ("box", "bag") and cents < 0] == []
    assert list(Holding.objects.filter(pieces__lt=0)) == []


def test_nothing_happens_after_now_and_every_placed_cabinet_was_visited(demo):
    assert not Visit.objects.filter(received_at__gt=NOW).exists()
    placed = set(Placement.objects.filter(ended_at=None).values_list("machine", flat=True))
    assert placed - set(ServiceEntry.objects.values_list("machine", flat=True)) == set()


def test_one_cabinet_is_short_again_and_again(demo):
    short = [one for one in figures(oddities.SHORT) if one.variance is not None and one.variance < -100]
    others = [one for one in figures("C-004") if one.variance is not None and one.variance < -100]
    assert (len(short) > 8, len(others)) == (True, 0)


def test_worn_grip_pays_out_less_and_less(demo):
    payouts = [(sum(f.plays for f in part), sum(f.prizes_won for f in part)) for part in halves(oddities.WORN_GRIP)]
    early, late = (plays / prizes for plays, prizes in payouts)
    assert late > early * 1.15


def halves(code):
    found = [one for one in figures(code) if one.plays is not None]
    return found[: len(found) // 3], found[-len(found) // 3 :]


def test_box_was_broken_into_once(demo):
    assert len([one for one in figures(oddities.BROKEN_INTO) if (one.variance or 0) < -5000]) == 1


def test_a_meter_rolled_over_one_was_set_back_and_one_replaced(demo):
    meter = Meter.objects.get(machine__code=oddities.ROLLS_OVER)
    values = list(meter.readings.filter(withdrawn_at=None).order_by("at").values_list("value", flat=True))
    assert sum(later < earlier for earlier, later in zip(values, values[1:], strict=False)) == 1
    assert Reading.objects.filter(explained_as="reset", meter__machine__code=oddities.METER_SET_BACK).exists()
    assert Meter.objects.filter(machine__code=oddities.METER_REPLACED, replaces__isnull=False).count() == 1


def test_a_meter_question_waits_for_an_answer(demo):
    asked = [one for one in figures(oddities.QUESTION) if one.questions]
    assert [one.entry.pk for one in asked] == [figures(oddities.QUESTION)[-1].entry.pk]


def test_silent_cabinet_has_not_been_played_lately(demo):
    assert [one.plays for one in figures(oddities.SILENT)][-2:] == [0, 0]


def test_of_one_cabinet_the_prizes_meter_alone_tells_what_was_won(demo):
    code = oddities.NEVER_COUNTED
    assert not StockCount.objects.filter(place__machine__code=code).exists()
    assert sum(one.metered for one in figures(code)) == sum(one.prizes_won for one in figures(code)) > 50
    held = Holding.objects.filter(place__machine__code=code).aggregate(all=Sum("pieces"))["all"]
    assert 0 < held <= machine(code).model.prize_capacity


def test_a_prize_was_tried_and_drew_players(demo):
    found = Prizes(Span(date(2026, 3, 1), NOW.date()), ZONE, NOW)
    tried = found.verdicts[Prize.objects.get(name=TRIED).pk]

    assert (tried.places, tried.more > 0) == (4, True)  # the others have no claw without an oddity


def test_one_cabinet_is_spare_one_out_of_order_and_one_moved(demo):
    assert list(Machine.objects.filter(status="out_of_order").values_list("code", flat=True)) == [oddities.OUT_OF_ORDER]
    assert Machine.objects.filter(status="spare", placements=None).count() == 1
    stays = Placement.objects.filter(machine__code=oddities.MOVED).order_by("started_at")
    assert [stay.location.name for stay in stays] == ["The Brass Turbot", oddities.MOVED_TO]


def test_a_visit_came_late_one_was_corrected_and_one_withdrawn(demo):
    late = Visit.objects.filter(location__name=oddities.LATE_AT, received_at__gt=NOW - timedelta(days=90))
    gaps = [one.received_at - one.at for one in late]
    assert sum(gap > timedelta(days=5) for gap in gaps) == 1
    corrections = Visit.objects.filter(replaces__isnull=False)
    assert sorted(corrections.values_list("location__name", "void")) == [
        (oddities.CORRECTED_AT, False),
        (oddities.WITHDRAWN_AT, True),
    ]


def test_money_is_counted_in_every_way_and_two_bags_wait(demo):
    hows = set(ServiceEntry.objects.filter(cash="counted").values_list("how", flat=True))
    assert hows == {"denominations", "amount", "weight"}
    assert uncounted_bags().count() == 2
    assert BagCount.objects.exists()
    assert CashMove.objects.filter(to_purse="host").exists()


def test_faults_terms_photos_and_counts_are_there(demo):
    assert Fault.objects.filter(via="label", by=None).exists()
    assert Fault.objects.filter(fixes__isnull=False).exists()
    terms = Agreement.objects.filter(location__name="The Brass Turbot")
    assert sorted(terms.values_list("terms__rate_bp", flat=True)) == [3000, 3500]
    assert Machine.objects.exclude(photo="").exists()
    assert Photo.objects.exists()
    assert StockCount.objects.filter(estimated=True).exists()


@pytest.mark.parametrize("arguments", [[], ["--fresh"]])
def test_demo_refuses_a_foreign_database(tmp_path, arguments):
    keep = tmp_path / "keyround.sqlite3"
    keep.write_bytes(b"somebody's books")
    environment = {**os.environ, "KEYROUND_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "routeapp.settings"}
    command = [sys.executable, "-m", "django", "demo", "--no-serve", *arguments]

    done = subprocess.run(command, cwd=settings.ROOT, env=environment, capture_output=True, text=True)

    assert done.returncode == 1
    assert "Nothing was changed" in " ".join(done.stderr.split())
    assert [path.name for path in Path(tmp_path).iterdir()] == [keep.name]
    assert keep.read_bytes() == b"somebody's books"


# --- the journal, read by beancount, against what the pages add up ---

TODAY = date(2026, 6, 1)
MONTHS = [date(2026, month, 1) for month in (3, 4, 5)]


def read_ledger():
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
        return totals(read_ledger())


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
    "Equity:Owner": "owner",
}


@pytest.mark.parametrize("month", MONTHS)
def test_every_purse_is_an_account(booked, month):
    assert {name: booked[month, name] for name in PURSES} == {
        name: moved(purse, month) for name, purse in PURSES.items()
    }


@pytest.mark.parametrize("month", MONTHS)
def test_what_was_spent_is_that_of_all_categories(booked, month):
    accounts = {spent_on(category) for category in Category} | {COSTS}
    assert sum(booked[month, name] for name in accounts) == moved("costs", month) > 0


def test_hosts_are_owed_what_was_issued_less_what_they_were_paid(booked):
    owed = sum(amount for (_, name), amount in booked.items() if name == "Liabilities:Hosts")
    issued = Settlement.objects.live().aggregate(all=Sum("cents"))["all"] or 0
    paid = sum(moved("host", month) for month, name in booked if name == "Liabilities:Hosts")
    assert owed == paid - issued


def test_all_together_is_nothing(booked):
    assert sum(booked.values()) == 0


def test_every_account_in_use_is_opened_once(demo):
    opened = [one.account for one in read_ledger() if isinstance(one, Open)]
    assert len(opened) == len(set(opened))


def test_csv_balances_line_by_line(demo):
    lines = list(rules.rows(journal(TODAY), "USD"))
    debit, credit = (sum(round(float(line[place]) * 100) for line in lines[1:] if line[place]) for place in (4, 5))
    assert debit == credit > 0
    assert len(lines) % 2 == 1


def test_late_delivery_changes_no_closed_month(demo, django_user_model):
    who = django_user_model.objects.first()
    before = totals(read_ledger())
    with transaction.atomic():
        while (month := next_to_close()) < TODAY:
            last = close_month(month=month, note="as it is", by=who, at=NOW)
        assert totals(read_ledger()) == before
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
        after = totals(read_ledger())
        changed = {month for month, name in after | before if after[month, name] != before[month, name]}
        assert changed == {TODAY}
        assert after[TODAY, "Expenses:Prizes-Won"] != before[TODAY, "Expenses:Prizes-Won"]
        reopen_month(close=last, reason="the bill came", by=who, at=NOW + timedelta(minutes=9))
        again = totals(read_ledger())
        assert {month for month, name in after | again if again[month, name] != after[month, name]} == {
            last.month,
            TODAY,
        }
        transaction.set_rollback(True)
