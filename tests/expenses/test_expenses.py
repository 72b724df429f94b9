"""Money spent, trips and refunds: each once, put right by reversal, and what Today asks."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from machines.faults.models import FaultFix
from machines.models import Fault
from routeapp.cash import actions as cash
from routeapp.cash import queries as cash_queries
from routeapp.cash.actions_deposits import deposit, withdraw_deposit
from routeapp.cash.models import CashMove
from routeapp.expenses import actions, actions_refunds, queries
from routeapp.expenses.models import Expense, MileageRate, Refund, Trip
from routeapp.kit.errors import Refused
from routeapp.pages.queries_today import today
from tests import factories
from tests.stories.bad_input import picture
from tests.visits import books
from tests.visits.books import START, document, entry, make_world, purse_balances, record

pytestmark = pytest.mark.django_db
LATER = START + timedelta(days=2)


@pytest.fixture
def world(route_hand):
    return make_world(route_hand)


@pytest.fixture
def bag(world):
    """A bag with $50.00 counted at the site."""
    record(world, document(world, "a", entries=[entry(world, "a", cents=5000)]))
    return cash_queries.bags().get(uuid=books.some_id("bag a"))


def spend(person, **more):
    said = {"uuid": uuid4(), "day": date(2026, 3, 3), "category": "parts", "what": "New plunger", "cents": 1250}
    said |= {"paid_from": "bank", "zone": "UTC", "by": person, "at": LATER}
    return actions.spend(**(said | more))


def give_back(person, **more):
    said = {"uuid": uuid4(), "cents": 200, "paid_from": "owner", "zone": "UTC", "by": person}
    return actions_refunds.refund(**(said | {"at": LATER, "received_at": LATER} | more))


def balances():
    found = {}
    for (purse, *_), cents in purse_balances().items():
        found[purse] = found.get(purse, 0) + cents
    return found


def report(machine, cents=300, **more):
    said = {"uuid": uuid4(), "machine": machine, "text": "It took my money", "about": "lost_money", "via": "label"}
    return Fault.objects.create(amount_cents=cents, at=START, received_at=START, **(said | more))


def test_same_expense_sent_twice_is_one(world, owner):
    machine = world.meters[0].machine
    one = spend(owner, machine=machine)
    assert spend(owner, machine=machine, uuid=one.uuid) == one
    with pytest.raises(Refused, match="sent before"):
        spend(owner, machine=machine, uuid=one.uuid, cents=9)
    move = CashMove.objects.get()
    assert (move.from_purse, move.to_purse, move.cents, move.machine, str(move.day)) == (
        *("bank", "costs", 1250),
        *(machine, "2026-03-03"),
    )


def test_corrected_expense_reverses_the_first_and_keeps_it_readable(owner):
    one = spend(owner)
    two = spend(owner, cents=2250, paid_from="owner", replaces=one)
    assert balances() == {"owner": -2250, "costs": 2250}
    assert [each.pk for each in queries.expenses(date(2026, 1, 1), date(2026, 12, 31))] == [two.pk]
    with pytest.raises(Refused, match="before. Open the newest one"):
        spend(owner, replaces=one)
    actions.withdraw_expense(expense=two, by=owner, at=LATER)
    assert balances() == {}


def test_bag_pays_no_more_than_it_holds(bag, owner):
    with pytest.raises(Refused, match=r"It holds \$50.00"):
        spend(owner, paid_from="bag", bag=bag, cents=5001)
    spend(owner, paid_from="bag", bag=bag, cents=1000)
    assert cash_queries.bags().get(pk=bag.pk).holds == 4000


def test_nothing_is_put_back_into_a_bag_at_the_bank(bag, owner, owner_client):
    """Its money would be in a bag that nobody looks into any more."""
    expense = spend(owner, paid_from="bag", bag=bag, cents=1000)
    refund = give_back(owner, paid_from="bag", bag=bag)
    at = LATER + timedelta(days=1)
    taken = deposit(uuid=uuid4(), bags=[bag], by=owner, at=at, received_at=at)
    stands = balances()
    said = form(paid_from="bank", cents="9")
    answers = [
        owner_client.post(reverse(name, args=[one.pk]), said, follow=True)
        for name, one in (("expense-withdraw", expense), ("expense-correct", expense), ("refund-withdraw", refund))
    ]
    why = "This bag is at the bank already. Take it back from there first."
    assert ([why in one.content.decode() for one in answers], balances()) == ([True] * 3, stands)
    assert (Expense.objects.live().get(), Refund.objects.live().get()) == (expense, refund)
    withdraw_deposit(deposit=taken, by=owner, at=at)
    owner_client.post(reverse("expense-withdraw", args=[expense.pk]))
    owner_client.post(reverse("refund-withdraw", args=[refund.pk]))
    assert balances() == {"players": -5000, "bag": 5000}


@pytest.mark.parametrize("spent_first", [True, False])
def test_what_was_spent_out_of_a_bag_is_neither_over_nor_short(bag, owner, spent_first):
    """A count finds what was in the bag at its moment, whatever was told first."""
    count = {"uuid": uuid4(), "bag": bag, "how": "amount", "cents": 5000, "lines": {}, "note": ""}
    steps = [
        lambda: spend(owner, paid_from="bag", bag=bag, cents=1000, day=date(2026, 3, 5)),
        lambda: cash.count_bag(**count, by=owner, at=START + timedelta(days=1), received_at=LATER),
    ]
    for step in steps if spent_first else reversed(steps):
        step()
    cash.settle_bag(bag=bag, by=owner, at=LATER)
    assert balances() == {"players": -5000, "bag": 4000, "costs": 1000}


@pytest.mark.parametrize("hour", [8, 16])
def test_expense_of_today_happened_when_it_was_written_down(bag, owner, owner_client, monkeypatch, hour):
    """Before noon it does not lie in the future, and after a count in the afternoon it is not short in that count."""
    moment = START.replace(hour=hour) + timedelta(days=1)
    monkeypatch.setattr("routeapp.kit.clock.now", lambda: moment)
    count = {"uuid": uuid4(), "bag": bag, "how": "amount", "cents": 5000, "lines": {}, "note": ""}
    cash.count_bag(**count, by=owner, at=moment - timedelta(hours=1), received_at=moment)
    owner_client.post(reverse("expense-add"), form(paid_from="bag", bag=bag.pk))
    one = Expense.objects.get()
    assert (one.at, balances()) == (moment, {"players": -5000, "bag": 2000, "costs": 3000})
    monkeypatch.setattr("routeapp.kit.clock.now", lambda: moment + timedelta(hours=2))
    owner_client.post(reverse("expense-correct", args=[one.pk]), form(paid_from="bag", bag=bag.pk, cents="20"))
    assert (Expense.objects.live().get().at, balances()) == (moment, {"players": -5000, "bag": 3000, "costs": 2000})


def test_expense_of_another_day_happened_at_midday(owner):
    assert spend(owner, zone="America/Chicago").at.isoformat() == "2026-03-03T18:00:00+00:00"


def test_expenses_are_summed_by_category_and_listed(world, owner, owner_client):
    for cents, category in ((1000, "parts"), (500, "parts"), (7000, "permits")):
        spend(owner, cents=cents, category=category, location=world.location)
    page = owner_client.get(reverse("expenses"), {"since": "2026-03-01", "until": "2026-03-31"})
    assert (page.context["sums"], page.context["total"]) == (
        [("Permits and stickers", 7000), ("Parts and repairs", 1500)],
        8500,
    )
    assert "ask your accountant" in page.content.decode()


def form(**more):
    said = {
        "uuid": uuid4(),
        "day": "2026-03-03",
        "category": "vehicle",
        "what": "Fuel",
        "cents": "30",
        "paid_from": "bank",
    }
    return said | more


def test_expense_keeps_the_photo_of_its_receipt(owner_client, owner):
    owner_client.post(reverse("expense-add"), form(receipt=picture()))
    one = Expense.objects.get()
    receipt = owner_client.get(reverse("expense-receipt", args=[one.pk]))
    assert (receipt["Content-Type"], b"".join(receipt)[:2]) == ("image/jpeg", b"\xff\xd8")
    owner_client.post(reverse("expense-correct", args=[one.pk]), form(cents="31"))
    two = Expense.objects.live().get()
    assert (two.cents, two.receipt.name, two.replaces) == (3100, one.receipt.name, one)
    assert "corrected" in owner_client.get(reverse("expense", args=[one.pk])).content.decode()
    owner_client.post(reverse("expense-withdraw", args=[two.pk]))
    assert owner_client.post(reverse("expense-withdraw", args=[two.pk]), follow=True).status_code == 200
    assert balances() == {}


def test_page_warns_of_parts_whose_cost_is_written_down_twice(owner_client):
    page = owner_client.get(reverse("expense-add")).content.decode()
    assert page.count("Parts count twice in the profit if their cost stands here and with the spares as well") == 1


@pytest.mark.parametrize(
    "wrong",
    [
        *({"cents": "0"}, {"cents": "9" * 30}, {"day": "9999-12-31"}, {"day": "0001-01-01"}, {"what": "a\0"}),
        *({"paid_from": "bag"}, {"paid_from": "players"}, {"machine": "9" * 30}, {"bag": "1"}, {"uuid": "x"}),
        {"receipt": SimpleUploadedFile("a.jpg", b"no picture")},
    ],
)
def test_expense_that_cannot_be_is_refused(owner_client, wrong):
    assert owner_client.post(reverse("expense-add"), form(**wrong)).status_code == 422
    assert not CashMove.objects.exists()


def trip(**more):
    said = {
        "uuid": uuid4(),
        "day": "2026-03-03",
        "way": "Store – Arcade – store",
        "purpose": "Visits",
        "tenths": "12.3",
    }
    return said | {"unit": "mi"} | more


def test_trips_stand_in_the_log_with_what_they_come_to(owner_client, owner, hand_client, route_hand):
    owner_client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    first = trip(driver=owner.pk, measured="on")
    for said in (first, first, trip(driver=owner.pk, day="2025-03-03"), trip(driver=owner.pk, day="2009-03-03")):
        assert owner_client.post(reverse("trip-add"), said).status_code == 302
    days = {"since": "2009-01-01", "until": "2026-12-31"}
    page = owner_client.get(reverse("trips"), days)
    # 12.3 miles × 72.5 and × 70 cents; there is no rate for 2009.
    assert (page.context["total"], page.context["distances"], page.context["without_rate"]) == (
        892 + 861,
        ["36.9 mi"],
        1,
    )
    rows = b"".join(owner_client.get(reverse("trips"), days | {"as": "csv"})).decode().splitlines()
    assert rows[1].split(",")[4:] == ["12.3 mi", "read off the car", "$0.725 a mile", "8.92"]
    owner_client.post(reverse("trip-withdraw", args=[Trip.objects.latest("day").pk]))
    assert owner_client.get(reverse("trips"), days).context["total"] == 861
    owner_client.force_login(route_hand, backend="django.contrib.auth.backends.ModelBackend")
    assert owner_client.get(reverse("trips"), days).context["distances"] == []


@pytest.mark.parametrize(
    "wrong", [{"tenths": "0"}, {"tenths": "1e9"}, {"tenths": "NaN"}, {"day": "2999-01-01"}, {"driver": "0"}]
)
def test_trip_that_cannot_be_is_refused(owner_client, owner, wrong):
    assert owner_client.post(reverse("trip-add"), trip(**{"driver": owner.pk} | wrong)).status_code == 422


def test_day_with_visits_proposes_a_trip_until_one_is_written_down(world, owner_client, owner, monkeypatch):
    moment = START + timedelta(days=1)
    monkeypatch.setattr("routeapp.kit.clock.now", lambda: moment)
    second = factories.LocationFactory(name="Quay Cafe", latitude=42, longitude=-87, time_zone="America/Chicago")
    type(world.location).objects.filter(pk=world.location.pk).update(latitude=41, longitude=-87)
    record(world, document(world, "a", entries=[]))
    record(world, document(world, "b", days=0.1, location=second.pk, entries=[]))
    page = owner_client.get(reverse("trip-proposals"))
    (one,) = page.context["proposals"]
    # One degree of latitude near 41.5° is 111 063 m on WGS 84 (from memory); a fifth more by road.
    assert (one.stops, one.day, one.tenths) == (["Lantern Arcade", "Quay Cafe"], date(2026, 3, 2), 1333)
    form = owner_client.get(f"{reverse('trip-add')}?{one.address}").content.decode()
    assert 'value="133.3"' in form
    owner_client.post(reverse("trip-add"), trip(day="2026-03-02", driver=one.driver.pk))
    assert owner_client.get(reverse("trip-proposals")).context["proposals"] == []


@pytest.mark.parametrize("address", ["tenths=²", "tenths=99999999999", "day=never&driver=x", "way=%00", "unit=league"])
def test_odd_proposals_still_show_the_form(owner_client, address):
    assert owner_client.get(f"{reverse('trip-add')}?{address}").status_code == 200


def test_own_rate_is_written_down_with_its_source_and_wins(owner_client, owner):
    rate = {
        "valid_from": "2026-01-01",
        "valid_to": "",
        "hundredths": "0,3",
        "unit": "km",
        "note": "Our country's table",
    }
    owner_client.post(reverse("mileage-rates"), rate)
    assert owner_client.post(reverse("mileage-rates"), rate).status_code == 422
    owner_client.post(reverse("trip-add"), trip(driver=owner.pk, unit="km"))
    logged = queries.log(date(2026, 1, 1), date(2026, 12, 31))
    assert [(one.cents, one.rate.source) for one in logged] == [(369, "Our country's table")]
    owner_client.post(reverse("mileage-rate-withdraw", args=[MileageRate.objects.get().pk]))
    assert queries.log(date(2026, 1, 1), date(2026, 12, 31))[0].rate.unit == "mi"


@pytest.mark.parametrize(
    "wrong",
    [
        {"hundredths": "0"},
        {"hundredths": "0.00001"},
        {"valid_to": "2025-01-01"},
        {"valid_from": "9999-01-01"},
        {"note": ""},
    ],
)
def test_rate_that_cannot_be_is_refused(owner_client, wrong):
    rate = {"valid_from": "2026-01-01", "valid_to": "", "hundredths": "0.3", "unit": "km", "note": "Somewhere"}
    assert owner_client.post(reverse("mileage-rates"), rate | wrong).status_code == 422


def test_player_who_told_from_the_label_waits_on_today_until_somebody_decides(world, owner, owner_client):
    fault = report(world.meters[0].machine)
    asked = dict(today(LATER, "UTC").needs)["Players who wait for their money"]
    assert [(need.to, need.argument) for need in asked] == [("refund-report", fault.pk)]
    page = reverse("refund-report", args=[fault.pk])
    said = {"uuid": uuid4(), "cents": "3", "paid_from": "owner", "close": "on"}
    for _ in range(2):
        assert owner_client.post(page, said)["Location"] == reverse("refunds")
    one = Refund.objects.get()
    assert (one.report, one.location, balances()) == (fault.uuid, world.location, {"owner": -300, "refunds": 300})
    assert FaultFix.objects.get().fault == fault
    assert "Players who wait for their money" not in dict(today(LATER, "UTC").needs)
    assert owner_client.post(page, said | {"uuid": uuid4()}).status_code == 422


def test_refund_leaves_the_report_open_unless_nothing_is_wrong(world, owner_client):
    fault = report(world.meters[0].machine)
    page = reverse("refund-report", args=[fault.pk])
    assert not owner_client.get(page).context["form"]["close"].value()


def test_refund_may_be_refused_with_a_reason(world, owner_client):
    fault = report(world.meters[0].machine)
    page = reverse("refund-report", args=[fault.pk])
    said = {"uuid": uuid4(), "cents": "3", "paid_from": "owner", "refuse": "1"}
    assert owner_client.post(page, said).status_code == 422
    owner_client.post(page, said | {"note": "It was played, by the meter"})
    assert (Refund.objects.get().refused, list(queries.undecided()), balances()) == (True, [], {})
    owner_client.post(reverse("refund-withdraw", args=[Refund.objects.get().pk]))
    assert list(queries.undecided()) == [fault]


def test_what_a_host_paid_out_is_owed_to_the_host(world, owner):
    give_back(owner, paid_from="host", machine=world.meters[0].machine)
    assert purse_balances()["host", world.meters[0].machine_id, world.location.pk, None] == -200
    with pytest.raises(Refused, match="which location"):
        give_back(owner, paid_from="host")


def test_refund_out_of_a_bag_and_back(bag, world, owner):
    one = give_back(owner, paid_from="bag", bag=bag, location=world.location)
    assert balances() == {"players": -5000, "bag": 4800, "refunds": 200}
    for _ in range(2):
        actions_refunds.withdraw_refund(refund=one, by=owner, at=LATER)
    assert balances() == {"players": -5000, "bag": 5000}


def test_refund_to_a_card_moves_nothing_before_the_statement_does(world, owner):
    give_back(owner, paid_from="cards", machine=world.meters[0].machine)
    assert (balances(), Refund.objects.get().cents) == ({}, 200)


@pytest.mark.parametrize("name", ["expenses", "trips", "refunds", "trip-proposals"])
def test_queries_stay_the_same_with_more_rows(world, owner, owner_client, name):
    counts = []
    for number in (1, 2, 3):
        spend(owner, machine=world.meters[0].machine)
        give_back(owner, machine=world.meters[0].machine)
        report(world.meters[0].machine)
        said = trip(driver=owner.pk) | {"tenths": 10, "measured": False, "day": date(2026, 3, 3), "driver": owner}
        actions.note_trip(**said, by=owner, at=LATER)
        record(world, document(world, f"v{number}", days=number))
        with CaptureQueriesContext(connection) as found:
            owner_client.get(reverse(name), {"since": "2026-01-01", "until": "2026-12-31"})
        counts.append(len(found))
    assert counts[0] == counts[2]


def refused(make):
    with pytest.raises(IntegrityError), transaction.atomic():
        make()


def test_database_refuses_what_cannot_be(world, owner):
    facts = {"by": owner, "at": START, "received_at": START}
    paid = {"day": START.date(), "category": "parts", "what": "x", "paid_from": "bank", **facts}
    refused(lambda: Expense.objects.create(uuid=uuid4(), cents=0, **paid))
    refused(lambda: Expense.objects.create(uuid=uuid4(), cents=1, **paid | {"paid_from": "bag"}))
    drive = {"day": START.date(), "driver": owner, "way": "x", "purpose": "x", "unit": "mi", **facts}
    refused(lambda: Trip.objects.create(uuid=uuid4(), tenths=0, **drive))
    rate = {"valid_from": START.date(), "unit": "mi", "note": "x", **facts}
    refused(lambda: MileageRate.objects.create(hundredths=0, **rate))
    refused(lambda: MileageRate.objects.create(hundredths=1, valid_to=date(2020, 1, 1), **rate))
    MileageRate.objects.create(hundredths=1, **rate)
    refused(lambda: MileageRate.objects.create(hundredths=1, **rate))
    refused(lambda: Refund.objects.create(uuid=uuid4(), cents=0, paid_from="bank", **facts))
    refused(lambda: Refund.objects.create(uuid=uuid4(), cents=1, refused=True, **facts))
    refused(lambda: Refund.objects.create(uuid=uuid4(), cents=1, paid_from="bag", **facts))
    refused(lambda: Refund.objects.create(uuid=uuid4(), cents=1, paid_from="host", **facts))
    told = uuid4()
    Refund.objects.create(uuid=uuid4(), report=told, refused=True, **facts)
    refused(lambda: Refund.objects.create(uuid=uuid4(), report=told, refused=True, **facts))
