"""The pages of cards: a statement through all its steps, readers, and sales without a cabinet."""

from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from routeapp.cards.forms import StatementFileForm
from routeapp.cards.models import CardRow, CardStatement, ReaderMove
from routeapp.kit.reading.forms import MB
from tests import factories
from tests.cards import desk
from tests.visits.books import START, make_world

pytestmark = pytest.mark.django_db
TEXT = "Date,Reader,Amount,Type,Id\n2026-03-03 10:00:00,R1,2.00,Vend,a\n2026-03-04 10:00:00,R1,0.20,Fee,b\n"


@pytest.fixture
def world(route_hand):
    return make_world(route_hand)


@pytest.fixture
def office(client, bookkeeper):
    client.force_login(bookkeeper, backend="django.contrib.auth.backends.ModelBackend")
    return client


def send(office, text=TEXT, uuid=None):
    file = SimpleUploadedFile("march.csv", text.encode())
    return office.post(reverse("card-statement-add"), {"uuid": uuid or uuid4(), "file": file})


def test_statement_goes_from_file_to_books_and_back(office, world, bookkeeper):
    desk.fit(bookkeeper, "R1", world.meters[0].machine, factories.LONG_AGO)
    to_columns = send(office)["Location"]
    shown = office.get(to_columns).context["form"]
    assert [field.initial for field, _ in shown.bound_columns()] == ["day", "serial", "amount", "kind", "reference"]
    plan = {"heading": 1, "zone": "UTC", "order": "", "c0": "day", "c1": "serial", "c2": "amount", "c3": "kind"}
    page = office.post(to_columns, plan)["Location"]
    assert "What do these kinds mean?" in office.get(page).content.decode()
    office.post(page, {"k0": "sale", "k1": "fee"})
    assert "Ready to bring in" in office.get(page).content.decode()
    one = CardStatement.objects.get()
    office.post(reverse("card-statement-bring", args=[one.pk]))
    assert "$1.80</span> with the card processor" in office.get(reverse("cards")).content.decode()
    office.post(reverse("card-statement-withdraw", args=[one.pk]))
    assert "$0.00</span> with the card processor" in office.get(reverse("cards")).content.decode()
    assert "kinds" in one.said
    assert office.get(send(office)["Location"]).context["remembered"]


def test_a_file_as_large_as_promised_is_not_turned_away_at_the_door(settings):
    with_the_form_around_it = (StatementFileForm.largest + 1) * MB
    assert with_the_form_around_it <= settings.MAX_REQUEST_BYTES


def test_same_file_form_sent_twice_is_one(office):
    uuid = uuid4()
    assert [send(office, uuid=uuid).status_code for _ in range(2)] == [302, 302]
    assert CardStatement.objects.count() == 1


@pytest.mark.parametrize("text", ["", "Date,Amount\n", "%PDF-1.7", "a\0b"])
def test_file_that_is_no_statement_is_refused(office, text):
    assert (send(office, text).status_code, CardStatement.objects.count()) == (422, 0)


def test_columns_that_make_no_statement_are_told(office):
    to_columns = send(office)["Location"]
    plan = {"heading": 1, "zone": "UTC", "order": "", "c0": "day", "c2": "amount"}
    response = office.post(to_columns, plan)
    assert (response.status_code, "serial number of the reader." in response.content.decode()) == (422, True)
    assert office.post(to_columns, plan | {"again": "1", "heading": "2"}).status_code == 200


def test_reader_is_fitted_once_and_shown(office, world):
    form = {"uuid": uuid4(), "serial": " r-12 ", "machine": world.meters[0].machine.pk, "at": ""}
    for _ in range(2):
        office.post(reverse("card-reader-add"), form)
    assert ReaderMove.objects.get().serial == "R-12"
    assert "R-12" in office.get(reverse("card-readers")).content.decode()
    page = office.get(reverse("card-reader", args=["R-12"])).content.decode()
    assert world.meters[0].machine.code in page
    office.post(reverse("card-reader-withdraw", args=[ReaderMove.objects.get().pk]))
    assert "withdrawn by" in office.get(reverse("card-reader", args=["R-12"])).content.decode()


@pytest.mark.parametrize(
    "wrong", [{"serial": ""}, {"serial": "a/b"}, {"serial": "\0"}, {"machine": "9" * 30}, {"at": "9999-12-31T23:59"}]
)
def test_reader_that_cannot_be_is_refused(office, wrong):
    form = {"uuid": uuid4(), "serial": "R1", "machine": "", "at": ""} | wrong
    assert office.post(reverse("card-reader-add"), form).status_code == 422


def test_sale_without_a_cabinet_is_matched_by_hand(office, world, bookkeeper):
    desk.brought(bookkeeper, "2026-03-03 10:00:00,R7,2.00,0,a")
    assert "$2.00</span> of card sales without a cabinet" in office.get(reverse("cards-unmatched")).content.decode()
    page = reverse("card-row-match", args=[CardRow.objects.get().pk])
    assert office.get(page).status_code == 200
    office.post(page, {"machine": world.meters[0].machine.pk})
    assert "Every card sale has its cabinet" in office.get(reverse("cards-unmatched")).content.decode()
    assert office.post(reverse("cards-match-again")).status_code == 302


@pytest.mark.parametrize("name", ["cards", "cards-unmatched", "card-readers"])
def test_queries_stay_the_same_with_more_rows(office, world, bookkeeper, name):
    counts = []
    for number in (1, 2, 3):
        desk.brought(bookkeeper, f"2026-03-03 10:00:00,Q{number},2.00,0,{number}")
        desk.fit(bookkeeper, f"S{number}", world.meters[0].machine, START)
        with CaptureQueriesContext(connection) as found:
            office.get(reverse(name))
        counts.append(len(found))
    assert counts[0] == counts[2]


def refused(make):
    with pytest.raises(IntegrityError), transaction.atomic():
        make()


def test_database_refuses_what_cannot_be(world, bookkeeper):
    move = desk.fit(bookkeeper, "R1", world.meters[0].machine, START)
    facts = {"by": bookkeeper, "at": START, "received_at": START}
    refused(lambda: ReaderMove.objects.create(uuid=uuid4(), serial="R1", **facts))
    refused(lambda: ReaderMove.objects.create(uuid=uuid4(), serial="", **facts))
    refused(lambda: ReaderMove.objects.filter(pk=move.pk).update(withdrawn_at=START))
    statement = desk.brought(bookkeeper, "2026-03-03 10:00:00,R7,2.00,0,a")
    row = CardRow.objects.get()
    more = {"statement": statement, "number": 1, **facts}
    refused(lambda: CardRow.objects.create(uuid=uuid4(), key=row.key, serial="R1", sale_cents=1, **more))
    refused(lambda: CardRow.objects.create(uuid=uuid4(), key=uuid4(), serial="R1", **more))
    refused(lambda: CardRow.objects.create(uuid=uuid4(), key=uuid4(), sale_cents=1, **more))
    refused(lambda: CardStatement.objects.filter(pk=statement.pk).update(withdrawn_at=START))
    refused(
        lambda: CardStatement.objects.filter(pk=statement.pk).update(
            brought_at=None, withdrawn_at=START, withdrawn_by=bookkeeper
        )
    )


@pytest.mark.parametrize(("address", "again"), [("cards", False), ("cards-unmatched", True)])
def test_moves_of_all_years_are_read_once_and_for_the_whole_page_only(office, world, bookkeeper, address, again):
    desk.fit(bookkeeper, "R1", world.meters[0].machine, factories.LONG_AGO)
    desk.brought(bookkeeper, "2026-03-03 10:00:00,R1,1,0,a", "2026-03-03 10:00:00,R9,1,0,b")

    def reads(query="", **more):
        with CaptureQueriesContext(connection) as asked:
            office.get(reverse(address) + query, **more)
        return any("cash_move" in one["sql"] or "cashmove" in one["sql"] for one in asked)

    htmx = {"headers": {"HX-Request": "true"}}
    found = [reads(), reads(), reads("?q=R9", **htmx), reads("?as=csv")]
    assert found == [True, again, False, False]


def test_page_tells_whether_statements_name_payouts(office, world, bookkeeper):
    def said():
        return "Its statements name no payouts." in office.get(reverse("cards")).content.decode()

    desk.fit(bookkeeper, "R1", world.meters[0].machine, factories.LONG_AGO)
    before, sale = said(), "2026-03-03 10:00:00,R1,2.00,,"
    desk.brought(bookkeeper, sale)
    without = said()
    columns = {"0": "day", "1": "serial", "2": "amount", "4": "payout"}
    desk.brought(bookkeeper, sale, "2026-03-05,,,,2.00", head="Date,Reader,Amount,Fee,Payout", columns=columns)
    assert (before, without, said()) == (False, True, False)
