"""Orders through their pages and actions: placed, followed, received, paid, and shared out over the cabinets."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse

from machines.cabinets.models import Status
from machines.models import Machine, Milestone, Order, OrderCost, OrderedCabinet, Paper, Payment, Receipt
from machines.purchases.actions_orders import Ordered, pay_cost, reach, receive, take_in_unordered
from machines.purchases.queries_orders import order_money, orders, records, ways
from routeapp.kit.errors import Refused
from routeapp.pages.queries_today import today
from tests.factories import CabinetModelFactory
from tests.machines.counting import queries_of
from tests.machines.purchases.cast import MAY, ordered, quote, sea_quote, supplier

pytestmark = pytest.mark.django_db


@pytest.fixture
def model(db):
    return CabinetModelFactory()


@pytest.fixture
def facts(owner):
    """By the owner, so many days after the order."""

    def after(days=0):
        at = MAY + timedelta(days=days)
        return {"by": owner, "at": at, "received_at": at}

    return after


def way_of(order, days):
    return ways(orders().filter(pk=order.pk), MAY + timedelta(days=days), "UTC")[0]


def test_order_keeps_its_costs_as_quoted_and_its_cabinets_as_ordered(owner, model):
    made = ordered(owner, sea_quote(owner, model), pieces=5)
    assert (made.number, made.promised_on, made.deposit_cents) == ("P001", date(2026, 7, 3), 660_00)
    assert order_money(made).total == 5 * 440_00 + 427_50 + 165_00 + 2_69 + 2_75 + 160_00 + 225_00
    assert set(OrderedCabinet.objects.values_list("machine__status", "cost_cents")) == {(Status.ORDERED, None)}
    assert OrderedCabinet.objects.count() == 5


def test_order_sent_twice_is_one(owner_client, owner, model):
    made = quote(owner, model)
    said = {"uuid": str(uuid4()), "pieces": "2", "ordered_on": "2026-05-04"}
    for _ in range(2):
        owner_client.post(reverse("quote-order", args=[made.pk]), said)
    assert (Order.objects.count(), Machine.objects.count()) == (1, 2)


def test_order_below_the_least_quantity_is_refused(owner_client, owner, model):
    made = quote(owner, model, prices=[(5, 900_00)])
    said = {"uuid": str(uuid4()), "pieces": "4", "ordered_on": "2026-05-04"}
    response = owner_client.post(reverse("quote-order", args=[made.pk]), said)
    assert (response.status_code, response.context["form"].errors["pieces"]) == (422, ["The quote starts at 5 pieces."])


def test_number_that_is_taken_is_refused(owner, model):
    made = quote(owner, model)
    ordered(owner, made, number="A-1")
    with pytest.raises(Refused, match="There is an order A-1 already"):
        ordered(owner, made, number="A-1")


def test_expected_day_is_worked_out_anew_at_each_step(owner, model, facts):
    made = ordered(owner, sea_quote(owner, model))
    assert way_of(made, 1).expected.on == date(2026, 7, 12)  # 60 days quoted, 15 % late
    reach(order=made, step="made", **facts(20))
    assert way_of(made, 21).expected.on == date(2026, 7, 3)  # 35 days on the way, 15 % late
    reach(order=made, step="shipped", expected_on=date(2026, 7, 20), container="CSQU 305438-3", **facts(30))
    found = way_of(made, 31)
    assert (found.expected.on, found.late, found.step.container) == (date(2026, 7, 20), 17, "CSQU3054383")
    assert way_of(made, 80).overdue == 3
    reach(order=made, step="delivered", **facts(81))
    assert (way_of(made, 90).expected.on, way_of(made, 90).late) == (date(2026, 7, 24), 21)


def test_step_noted_twice_is_one_and_another_day_replaces_it(owner, model, facts):
    made = ordered(owner, quote(owner, model))
    first = reach(order=made, step="made", **facts(3))
    assert reach(order=made, step="made", **facts(3)) == first
    later = reach(order=made, step="made", **facts(4))
    assert list(Milestone.objects.live()) == [later]
    assert Milestone.objects.count() == 2


@pytest.mark.parametrize(("step", "days"), [("made", 8), ("road", 5)])
def test_step_on_the_wrong_side_of_another_is_refused(owner, model, facts, step, days):
    made = ordered(owner, quote(owner, model))
    reach(order=made, step="shipped", **facts(6))
    with pytest.raises(Refused, match="The order was shipped on 10 May 2026 already"):
        reach(order=made, step=step, **facts(days))


def test_container_number_with_a_slip_is_told(owner_client, owner, model):
    made = ordered(owner, quote(owner, model))
    said = {"step": "shipped", "at": "2026-05-10T12:00", "container": "CSQU3054387"}
    response = owner_client.post(reverse("order-step", args=[made.pk]), said)
    assert response.status_code == 422
    assert response.context["form"].errors["container"][0].startswith("“CSQU3054387” has a slip in it")


def test_costs_are_shared_out_to_the_cent_when_it_comes(owner, model, facts):
    made = ordered(owner, quote(owner, model, prices=[(1, 900_01)]), pieces=3)
    pay_cost(order=made, kind="inland", cents=100_00, **facts(5))
    receive(order=made, came=3, damaged=1, **facts(9))
    assert sorted(OrderedCabinet.objects.values_list("cost_cents", flat=True)) == [933_34, 933_34, 933_35]
    pay_cost(order=made, kind="inland", cents=100_01, **facts(12))
    assert sum(OrderedCabinet.objects.values_list("cost_cents", flat=True)) == order_money(made).total
    assert OrderCost.objects.filter(kind="inland").count() == 2


def test_arrival_delivers_the_order_and_brings_its_cabinets(owner, model, facts):
    made = ordered(owner, quote(owner, model), pieces=3)
    receive(order=made, came=2, **facts(9))
    assert sorted(Machine.objects.values_list("status", flat=True)) == ["arrived", "arrived", "ordered"]
    receive(order=made, came=3, damaged=1, **facts(10))
    assert set(Machine.objects.values_list("status", flat=True)) == {"arrived"}
    assert Receipt.objects.live().get().damaged == 1
    assert way_of(made, 20).expected.on == date(2026, 5, 13)


def test_order_written_down_after_it_came_leaves_no_cabinet_ordered(owner, model, facts):
    late = MAY + timedelta(days=60)
    order = ordered(owner, sea_quote(owner, model), pieces=5, on=MAY.date(), at=late)
    receive(order=order, came=5, **facts(40))
    assert set(Machine.objects.values_list("status", flat=True)) == {Status.ARRIVED}


def test_more_damaged_than_came_is_refused(hand_client, owner, model):
    made = ordered(owner, quote(owner, model))
    response = hand_client.post(reverse("order-receipt", args=[made.pk]), {"came": "2", "damaged": "3"})
    assert response.context["form"].errors["damaged"] == ["More than came. Count again."]


def test_what_nobody_ordered_is_taken_in_once(hand_client, model):
    said = {
        "uuid": str(uuid4()), "supplier": supplier().pk, "what": "A crate", "model": model.pk, "pieces": "2", "at": "",
    }  # fmt: skip
    for _ in range(2):
        hand_client.post(reverse("order-unordered"), said)
    made = Order.objects.get()
    assert (made.ordered_on, made.quote, made.receipts.get().came) == (None, None, 2)
    assert list(Machine.objects.values_list("status", flat=True)) == ["arrived", "arrived"]
    assert hand_client.get(reverse("order", args=[made.pk])).status_code == 200


def test_parts_come_without_cabinets(owner, facts):
    lines = [Ordered("Locks", None, 6)]
    take_in_unordered(uuid=uuid4(), supplier=supplier(), lines=lines, **facts())
    assert (Machine.objects.count(), records([supplier()], "UTC")[supplier().pk].damage.cabinets) == (0, 0)


def test_record_of_a_supplier_is_read_off_its_deliveries(owner, model, facts):
    made = ordered(owner, quote(owner, model), pieces=4)  # 10 days quoted
    receive(order=made, came=4, damaged=1, **facts(14))
    found = records([made.supplier], "UTC")[made.supplier_id]
    assert [(one.quoted, one.took, one.late) for one in found.deliveries] == [(10, 14, 4)]
    assert found.lateness.mean == pytest.approx((3 * 1.15 + 1.4) / 4)
    assert found.damage.mean == pytest.approx((0.5 + 1) / (5 + 4))


def test_payment_is_noted_once_in_both_currencies(owner_client, owner, model):
    made = ordered(owner, quote(owner, model, currency="EUR"))
    said = {"uuid": str(uuid4()), "invoice_cents": "540", "cents": "590.20", "note": "Deposit", "at": ""}
    for _ in range(2):
        owner_client.post(reverse("order-payment", args=[made.pk]), said)
    assert Payment.objects.values_list("invoice_cents", "cents").get() == (540_00, 590_20)
    page = owner_client.get(reverse("order", args=[made.pk])).content.decode()
    assert page.count("€540.00") == page.count("$590.20 from our account") == 1


def test_document_is_filed_and_comes_back_as_a_file(owner_client, owner, model):
    made = ordered(owner, quote(owner, model))
    content = b"%PDF-1.4 invoice"
    file = SimpleUploadedFile("in/voice.pdf", content, "application/pdf")
    said = {"uuid": str(uuid4()), "name": "Invoice\r\n7", "file": file}
    assert owner_client.post(reverse("order-paper", args=[made.pk]), said).status_code == 302
    response = owner_client.get(reverse("order-document", args=[Paper.objects.get().uuid]))
    assert b"".join(response.streaming_content) == content
    assert response["Content-Disposition"] == 'attachment; filename="Invoice 7.pdf"'
    assert response["X-Content-Type-Options"] == "nosniff"


def test_file_that_is_neither_pdf_nor_photo_is_refused(owner_client, owner, model):
    made = ordered(owner, quote(owner, model))
    said = {"uuid": str(uuid4()), "name": "Page", "file": SimpleUploadedFile("page.pdf", b"<html>")}
    response = owner_client.post(reverse("order-paper", args=[made.pk]), said)
    assert (response.status_code, Paper.objects.count()) == (422, 0)


def test_route_hand_sees_the_way_and_no_money(hand_client, owner, model, facts):
    made = ordered(owner, quote(owner, model))
    receive(order=made, came=2, **facts(9))
    page = hand_client.get(reverse("order", args=[made.pk]))
    assert "$" not in page.content.decode().partition("<main")[2]


def test_list_says_how_many_are_late(owner_client, owner, model):
    ordered(owner, quote(owner, model), on=date(2020, 1, 6))
    context = owner_client.get(reverse("buying")).context
    assert (context["number"], context["late"]) == (1, 1)


def test_today_names_an_order_that_is_overdue(owner, model):
    made = ordered(owner, quote(owner, model))
    needs = dict(today(MAY + timedelta(days=20), "UTC").needs)
    assert [(one.what, one.why, one.bad) for one in needs["Late orders"]] == [
        (f"Order {made} from Tern Works", "10 days later than promised. Expected 16 May, 8 days ago.", True)
    ]


def test_today_is_silent_about_an_order_in_time(owner, model):
    ordered(owner, sea_quote(owner, model, made_days=1, transit_days=1))
    assert "Late orders" not in dict(today(MAY, "UTC").needs)


def test_list_asks_the_database_as_often_for_three_as_for_one(owner_client, owner, model):
    ordered(owner, quote(owner, model, name="One"))
    first = queries_of(owner_client, reverse("buying"))
    for name in ("Two", "Three"):
        ordered(owner, quote(owner, model, name=name))
    assert queries_of(owner_client, reverse("buying")) == first


def refused(name, act):
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        act()


def test_tables_refuse_what_no_order_can_be(owner, model, facts):
    made = ordered(owner, quote(owner, model))
    refused("order_rate_above_zero", lambda: Order.objects.update(rate=0))
    refused("order_line_above_zero", lambda: made.lines.update(pieces=0))
    refused("receipt_damaged", lambda: Receipt.objects.create(order=made, came=1, damaged=2, **facts()))
    zero = {"uuid": uuid4(), "order": made, "cents": 0, "invoice_cents": 0}
    refused("payment_above_zero", lambda: Payment.objects.create(**zero, **facts()))


def test_tables_hold_one_live_receipt_and_one_live_step(owner, model, facts):
    made = ordered(owner, quote(owner, model))
    receive(order=made, came=1, **facts(9))
    for again in (
        lambda: Receipt.objects.create(order=made, came=1, **facts()),
        lambda: Milestone.objects.create(order=made, step="delivered", **facts()),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            again()
