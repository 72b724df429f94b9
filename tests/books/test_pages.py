"""Closing months, the files, and the page for the accountant."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from beancount import loader
from django.db import IntegrityError, transaction
from django.urls import reverse

from locations.models import Location
from routeapp.books import queries_year
from routeapp.books.actions import close_month, reopen_month
from routeapp.books.models import MonthClose
from routeapp.books.queries_checklist import checklist, next_to_close
from routeapp.cards.models import CardStatement
from routeapp.cash import actions as cash
from routeapp.cash.models import CashMove
from routeapp.expenses.actions import spend
from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.kit.progress import Told
from routeapp.settlements.models import SettlementRun
from routeapp.stock.actions_goods import add_place
from routeapp.stock.actions_papers import withdraw_delivery
from tests import factories
from tests.cash.cast import banked
from tests.cash.test_pages import words
from tests.stock.papers import deliver
from tests.visits import books

MARCH = date(2026, 3, 1)
NOW = datetime(2026, 6, 10, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def world(route_hand):
    return books.make_world(route_hand)


@pytest.fixture
def office(client, bookkeeper):
    client.force_login(bookkeeper, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def visited(world):
    """A visit of March 2026 that left 40.00 in a bag and paid its host 15.00, received at once."""
    paid = {"cents": 1500, "received_by": "Mika"}
    books.record(
        world,
        books.document(world, "a", entries=[books.entry(world, "a", cents=4000, reading=150)], host_payment=paid),
        at=books.START + timedelta(hours=1),
    )
    return world


def closed(owner, note="as it is", at=NOW):
    return close_month(month=next_to_close(), note=note, by=owner, at=at)


def first_months(owner):
    """Close all months up to and with March."""
    while (month := next_to_close()) < MARCH:
        closed(owner)
    assert month == MARCH
    return closed(owner)


def test_checklist_names_what_is_open(visited):
    open_points = {point.what: point.many for point in checklist(MARCH, NOW) if point.many}
    assert open_points == {"Cabinets without a reading": 1}


def test_visit_of_a_phone_without_a_clock_begins_no_books_once_it_is_put_right(visited):
    first = next_to_close()
    work = books.entry(visited, "x", cents=700, loaded={0: 3})
    wrong = books.document(visited, "x", days=-9500, entries=[work])
    books.record(visited, wrong)
    assert next_to_close() == date(2000, 2, 1)
    gone = {"replaces": wrong["id"], "void": True, "reason": "the clock was wrong", "entries": []}
    books.record(visited, wrong | gone | {"id": books.some_id("gone")})
    assert next_to_close() == first


@pytest.mark.parametrize(("found", "many"), [(None, 1), ({0: 18}, 0)])
def test_prizes_nobody_counted_are_a_point(world, found, many):
    machine = world.meters[0].machine
    for name, days, said in (("a", 0, {"loaded": {0: 20}}), ("b", 7, {"found": found, "reading": 150})):
        books.record(world, books.document(world, name, days=days, entries=[books.entry(world, name, **said)]))
    points = {point.what: (point.many, point.named) for point in checklist(MARCH, NOW)}
    assert points["Cabinets with prizes neither counted nor metered"] == (many, machine.code if many else "")


def test_points_of_the_bank_are_asked_once_there_is_a_statement(visited):
    banked(visited)
    points = {point.what: (point.many, point.named) for point in checklist(MARCH, NOW)}
    assert points["Rows of the bank nobody matched"] == (2, "")
    assert points["In the books, not on a statement"][0] == 1


def test_open_points_want_a_note(visited, owner):
    while next_to_close() < MARCH:
        closed(owner)
    with pytest.raises(Refused, match="Points of the checklist are open"):
        closed(owner, note="")
    one = closed(owner, note="the meter is broken")
    assert (one.month, one.left) == (MARCH, ["Cabinets without a reading: 1"])


def test_month_closed_twice_is_once(visited, owner):
    one = first_months(owner)
    assert close_month(month=MARCH, note="", by=owner, at=NOW) == one


@pytest.mark.parametrize("what", ["statement", "settlements"])
def test_month_stays_open_while_something_begun_before_is_written(visited, owner, what):
    if what == "statement":
        work = CardStatement.objects.create(
            uuid=uuid4(), name="c", file="c.csv", by=owner, received_at=NOW, work="bringing"
        )
        Told(work)("Half of it")
    else:
        work = SettlementRun.objects.create(uuid=uuid4(), by=owner, at=NOW, until=MARCH, told_at=NOW)
    with pytest.raises(Refused, match="still being written"):
        closed(owner)
    assert not MonthClose.objects.exists()

    type(work).objects.update(**({"work": ""} if what == "statement" else {"ended_at": NOW}))
    closed(owner)
    assert MonthClose.objects.count() == 1


def test_months_are_closed_in_order_and_when_they_are_over(visited, owner):
    with pytest.raises(Refused, match="one after the other"):
        close_month(month=date(2026, 5, 1), note="x", by=owner, at=NOW)
    first_months(owner)
    closed(owner)
    closed(owner)
    with pytest.raises(Refused, match="June 2026 is not over yet"):
        closed(owner)


def test_month_after_all_was_taken_back_is_closed_with_what_changed(owner):
    store = add_place(kind="store", name="Back room", by=owner, at=NOW)
    came = deliver(store, [(factories.PrizeFactory(), 10, 5_00)], owner, datetime(2026, 3, 10, 15, tzinfo=UTC))
    assert closed(owner).month == MARCH
    withdraw_delivery(delivery=came, by=owner, at=NOW)

    april = closed(owner)

    assert (april.month, april.figures) == (date(2026, 4, 1), {"Assets:Prizes|Equity:Paid-Elsewhere": -5_00})


def test_only_the_last_month_is_opened_again(visited, owner):
    first = first_months(owner)
    last = closed(owner)
    with pytest.raises(Refused, match="Only the last closed month"):
        reopen_month(close=first, reason="x", by=owner, at=NOW)
    with pytest.raises(Refused, match="Say why"):
        reopen_month(close=last, reason="", by=owner, at=NOW)
    for _ in range(2):
        reopen_month(close=last, reason="a bill came", by=owner, at=NOW)
        last.refresh_from_db()
    assert next_to_close() == date(2026, 4, 1)


@pytest.mark.parametrize(
    ("constraint", "changed"),
    [
        ("closed_once|month", {}),
        ("is_its_first_day", {"month": date(2026, 7, 2)}),
        ("for_a_reason", {"month": date(2026, 7, 1), "withdrawn_at": NOW}),
    ],
)
def test_database_refuses(visited, owner, constraint, changed):
    first_months(owner)
    who = {"by": owner, "at": NOW, "received_at": NOW}
    who |= {"withdrawn_by": owner} if "withdrawn_at" in changed else {}
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        MonthClose.objects.create(**who, **{"month": MARCH, **changed})


def test_page_closes_and_opens_a_month(office, visited, owner):
    while next_to_close() < MARCH:
        closed(owner)
    page = office.get(reverse("books"))
    assert "Cabinets without a reading" in words(page)
    wrong = office.post(reverse("month-close"), {"month": "2026-03-01"})
    assert (wrong.status_code, "Points of the checklist are open" in words(wrong)) == (422, True)
    office.post(reverse("month-close"), {"month": "2026-03-01", "note": "broken meter"})
    page = words(office.get(reverse("books")))
    assert "Closed up to March 2026" in page
    assert "broken meter" in page
    last = MonthClose.objects.first()
    office.post(reverse("month-reopen", args=[last.pk]), {"reason": ""})
    assert MonthClose.objects.live().filter(month=MARCH).exists()
    office.post(reverse("month-reopen", args=[last.pk]), {"reason": "a bill came"})
    assert "Opened again by" in words(office.get(reverse("books")))


@pytest.mark.parametrize("month", ["", "x", "0001-01-01", "9999-12-31", "2026-13-01", "\0"])
def test_month_that_cannot_be_meant_closes_nothing(office, visited, month):
    answer = office.post(reverse("month-close"), {"month": month, "note": "x"})
    assert (answer.status_code, MonthClose.objects.count()) == (422, 0)


def test_books_of_an_empty_business_teach(office):
    assert "Nothing is in the books yet" in words(office.get(reverse("books")))


def content(answer):
    return b"".join(answer.streaming_content).decode()


def test_ledger_is_taken_by_beancount(office, visited):
    Location.objects.update(name='The "Quay" \\ one')
    _, errors, _ = loader.load_string(content(office.get(reverse("books-ledger"))))
    assert errors == []


def test_journal_of_a_year_holds_what_was_booked_in_it(office, visited):
    whole = content(office.get(reverse("books-journal"))).splitlines()
    year = content(office.get(reverse("books-journal"), {"year": "2026"})).splitlines()
    assert whole[0] == year[0] == "\ufeffEntry,Date,Happened on,Account,Debit,Credit,Words"
    assert len(year) == len(whole)
    assert len(content(office.get(reverse("books-journal"), {"year": "2025"})).splitlines()) == 1


def test_what_was_spent_stands_under_its_category_and_what_was_bought_under_one_account(office, visited, owner):
    spent = {"category": "freight", "what": "Stamps", "cents": 500, "paid_from": "bank", "zone": "UTC"}
    wrong = spend(uuid=uuid4(), day=MARCH, **spent, by=owner, at=NOW)
    spend(uuid=uuid4(), day=MARCH, **spent | {"category": "other"}, replaces=wrong, by=owner, at=NOW)
    ends = {"day": MARCH, "at": NOW}
    other = [
        CashMove(from_purse="bank", to_purse=to, cents=cents, **ends) for to, cents in (("costs", 1), ("trade", 2))
    ]
    cash.append(moves=other, by=owner, at=NOW)
    rows = [line.split(",") for line in content(office.get(reverse("books-journal"))).splitlines()]
    assert {(row[3], row[4], row[5]) for row in rows if row[2] == "2026-03-01" and row[3] != "Assets:Bank"} == {
        ("Expenses:Costs", "0.01", ""),
        ("Expenses:Freight-and-postage", "5.00", ""),
        ("Expenses:Freight-and-postage", "", "5.00"),
        ("Expenses:Other", "5.00", ""),
        ("Equity:Paid-Elsewhere", "0.02", ""),
    }
    _, errors, _ = loader.load_string(content(office.get(reverse("books-ledger"))))
    assert errors == []


def test_journal_of_a_year_ends_today(office, visited, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: books.START - timedelta(days=3))
    assert len(content(office.get(reverse("books-journal"), {"year": "2026"})).splitlines()) == 3


@pytest.mark.parametrize("year", ["x", "-1", "0001", "99999999999", "\0"])
def test_year_that_cannot_be_meant(office, visited, year):
    assert office.get(reverse("books-journal"), {"year": year}).status_code == 200
    assert office.get(f"/books/years/{year}/").status_code == 404


def test_formula_in_a_reason_is_text_in_the_journal(office, visited, owner):
    cash.append(
        moves=[CashMove(from_purse="owner", to_purse="bank", cents=5, day=MARCH, at=NOW, reason="=1+1")],
        by=owner,
        at=NOW,
    )
    assert ",=1+1" not in content(office.get(reverse("books-journal")))


# --- the page for the accountant ---


def test_host_paid_and_reversed_counts_what_is_left(visited, owner):
    location = visited.location
    said = {"day": MARCH, "at": NOW, "location": location}
    source = uuid4()
    cash.append(
        moves=[
            CashMove(from_purse="bank", to_purse="host", cents=190_000, **said),
            CashMove(from_purse="bank", to_purse="host", cents=70_000, source=source, **said),
            CashMove(from_purse="host", to_purse="refunds", cents=500, **said),  # a refund the host made
            CashMove(from_purse="bank", to_purse="host", cents=1, **{**said, "day": date(2025, 12, 31)}),
        ],
        by=owner,
        at=NOW,
    )
    cash.take_back(sources=[source], by=owner, at=NOW)
    (one,) = queries_year.paid_to_hosts(2026, 200_000)
    assert (one.host, one.cents, one.reported) == (location.host, 191_500, False)
    assert queries_year.paid_to_hosts(2026, 191_500)[0].reported is True


def test_prizes_in_stock_are_those_of_the_last_day(world):
    rows = {one.prize.name: (one.pieces, one.cents) for one in queries_year.in_stock(2026)}
    assert rows == {name: (1000, 90_000) for name in ("Plush owl", "Tin robot")}
    assert queries_year.in_stock(2025) == []


def test_year_end_page_shows_threshold_and_source(office, visited):
    page = words(office.get(reverse("year-end", args=[2026])))
    assert "rent of space of $2,000.00 or more in 2026 may have to be reported" in page
    assert "Ask your accountant" in page
    lines = content(office.get(reverse("year-end", args=[2026]), {"as": "csv"}))
    assert "15.00" in lines


@pytest.mark.usefixtures("year_2026")
def test_pages_ask_the_database_the_same_at_one_and_three(office, world, owner, django_assert_max_num_queries):
    asked = []
    for number, name in enumerate("abc"):
        entries = [books.entry(world, name, cents=4000, reading=150 + number)]
        books.record(world, books.document(world, name, days=number, entries=entries), at=NOW)
        if name != "b":
            with django_assert_max_num_queries(200) as seen:
                content(office.get(reverse("books-journal")))
            asked.append(len(seen))
    assert asked[0] == asked[1]
