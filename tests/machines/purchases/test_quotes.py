"""Suppliers and quotes through their pages."""

from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from machines.models import Quote, QuoteCost, QuotePrice, Supplier
from machines.purchases.actions import change_quote
from machines.purchases.queries import landed_of
from routeapp.kit.errors import Refused
from tests.factories import CabinetModelFactory
from tests.machines.counting import queries_of
from tests.machines.purchases.cast import MAY, ordered, quote, sea_quote, supplier

pytestmark = pytest.mark.django_db


@pytest.fixture
def model(db):
    return CabinetModelFactory()


def typed(model, **changed):
    said = {
        "uuid": str(uuid4()), "supplier": supplier().pk, "what": "Harbour Claw", "model": model.pk,
        "received_on": "2026-05-04", "currency": "USD", "term": "FOB", "mode": "sea", "made_days": "25",
        "transit_days": "35", "kg_per_m3": "1000", "customs": "none", "tax_comes_back": "on",
        "price-TOTAL_FORMS": "20", "price-INITIAL_FORMS": "0", "cost-TOTAL_FORMS": "20", "cost-INITIAL_FORMS": "0",
        "price-0-from_pieces": "1", "price-0-unit_cents": "480",
        "cost-0-kind": "freight", "cost-0-basis": "shipment", "cost-0-amount": "95.50",
    }  # fmt: skip
    return {name: value for name, value in {**said, **changed}.items() if value is not None}


def errors(response):
    paper = response.context["paper"]
    lines = [error for form in (*paper.prices.forms, *paper.costs.forms) for error in form.errors.values()]
    return [str(one[0]) for one in (*paper.head.errors.values(), *lines)]


def test_supplier_is_added_and_changed(owner_client):
    owner_client.post(reverse("supplier-add"), {"name": "Tern Works", "promise_days": "7"})
    added = Supplier.objects.get()
    owner_client.post(reverse("supplier-edit", args=[added.pk]), {"name": "Tern & Sons", "promise_days": ""})
    assert Supplier.objects.values_list("name", "promise_days").get() == ("Tern & Sons", None)


def test_supplier_of_the_same_name_is_refused_beside_its_field(owner_client):
    supplier("Tern Works")
    response = owner_client.post(reverse("supplier-add"), {"name": "Tern Works"})
    assert response.status_code == 422
    assert response.context["form"].errors["name"] == ["There is a supplier with this name already."]


def test_quote_is_written_down_with_prices_and_costs(owner_client, model):
    response = owner_client.post(reverse("quote-add"), typed(model))
    made = Quote.objects.get()
    assert response.url == reverse("quote", args=[made.pk])
    assert list(made.prices.values_list("from_pieces", "unit_cents")) == [(1, 480_00)]
    assert list(made.costs.values_list("kind", "basis", "amount_cents")) == [("freight", "shipment", 95_50)]


def test_quote_sent_twice_is_one(owner_client, model):
    said = typed(model)
    for _ in range(2):
        owner_client.post(reverse("quote-add"), said)
    assert (Quote.objects.count(), QuotePrice.objects.count(), QuoteCost.objects.count()) == (1, 1, 1)


def test_quote_with_a_share_of_nothing_sent_twice_is_one(owner_client, model):
    shares = {
        f"cost-{row}-{name}": said for row in range(2) for name, said in (("kind", "freight"), ("basis", "share"))
    }
    said = typed(model, **shares, **{"cost-0-amount": "0", "cost-1-amount": "1.25"})
    assert [owner_client.post(reverse("quote-add"), said).status_code for _ in range(2)] == [302, 302]
    assert (Quote.objects.count(), QuoteCost.objects.count()) == (1, 2)


def test_quote_in_yen_has_no_decimals_and_needs_a_rate(owner_client, model):
    response = owner_client.post(reverse("quote-add"), typed(model, currency="JPY"))
    assert errors(response) == [
        "The quote is in JPY: write what one costs in USD.",
        "“95.50” has more decimals than JPY knows.",
    ]
    in_yen = {"currency": "JPY", "rate": "0,0065", "price-0-unit_cents": "61500", "cost-0-ours": "on"}
    owner_client.post(reverse("quote-add"), typed(model, **in_yen))
    made = Quote.objects.get()
    assert (made.rate, made.prices.get().unit_cents, made.costs.get().amount_cents) == (Decimal("0.0065"), 61500, 95_50)


def test_share_of_the_price_is_read_as_a_percentage(owner_client, model):
    owner_client.post(reverse("quote-add"), typed(model, **{"cost-0-basis": "share", "cost-0-amount": "1,25"}))
    assert QuoteCost.objects.values_list("share_bp", "amount_cents").get() == (125, None)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"mode": "road"}, "FOB is a term for the sea. Choose FCA, CPT or CIP for another way."),
        ({"kg_per_m3": "0"}, "A m³ cannot pay as nothing. 1000 is usual by sea."),
        ({"valid_until": "2026-05-01"}, "It would have ended before it was written."),
        ({"made_days": "0", "transit_days": "0"}, "Nothing arrives on the day it is ordered: at least one day in all."),
        ({"cost-0-amount": "much"}, "“much” is not an amount. Write it like 12.50."),
        ({"price-0-unit_cents": "0"}, "The least that makes sense here is $0.01."),
        ({"deposit_bp": "101"}, "Write a percentage from 0 to 100 with two decimals at most, for example 40 or 37.5."),
    ],
)
def test_what_cannot_be_is_told_beside_its_field(owner_client, model, changed, said):
    response = owner_client.post(reverse("quote-add"), typed(model, **changed))
    assert (response.status_code, errors(response)) == (422, [said])
    assert not Quote.objects.exists()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"price-0-from_pieces": "", "price-0-unit_cents": ""}, "Give at least one price."),
        ({"price-1-from_pieces": "1", "price-1-unit_cents": "9"}, "Two prices start at the same number of pieces."),
    ],
)
def test_prices_must_be_there_once_a_quantity(owner_client, model, changed, said):
    response = owner_client.post(reverse("quote-add"), typed(model, **changed))
    assert response.context["paper"].head.non_field_errors() == [said]


def test_quote_is_changed_and_an_emptied_line_is_gone(owner_client, owner, model):
    made = sea_quote(owner, model)
    owner_client.post(reverse("quote-edit", args=[made.pk]), typed(model, what="Harbour Claw II"))
    made.refresh_from_db()
    assert (made.what, list(made.costs.values_list("kind", flat=True))) == ("Harbour Claw II", ["freight"])


def test_form_of_a_quote_shows_what_it_says(owner_client, owner, model):
    made = sea_quote(owner, model)
    paper = owner_client.get(reverse("quote-edit", args=[made.pk])).context["paper"]
    assert [form["unit_cents"].value() for form in paper.prices.forms[:2]] == ["480.00", "440.00"]
    assert [form["amount"].value() for form in paper.costs.forms[:3]] == ["95.00", "160.00", "45.00"]
    assert [paper.head[name].value() for name in ("deposit_bp", "extra_duty_bp", "rate")] == ["30", "7.5", None]


def test_quote_opened_and_saved_as_it_stands_is_the_same(owner_client, owner, model):
    """What a browser sends back of a form that nobody touched."""
    made = sea_quote(owner, model, currency="EUR", rate=Decimal("1.0825"), tax_comes_back=False)
    before = said_by(made)
    paper = owner_client.get(reverse("quote-edit", args=[made.pk])).context["paper"]
    forms = [paper.head, *[form for one in (paper.prices, paper.costs) for form in (one.management_form, *one.forms)]]
    fields = {field.html_name: field.value() for form in forms for field in form}
    sent = {name: value for name, value in fields.items() if value is not None and value is not False}
    assert owner_client.post(reverse("quote-edit", args=[made.pk]), sent).status_code == 302
    assert said_by(made) == before


def said_by(made):
    rows = Quote.objects.filter(pk=made.pk).values().get()
    costs = made.costs.values_list("kind", "basis", "amount_cents", "share_bp", "ours")
    return rows, list(made.prices.values_list("from_pieces", "unit_cents")), list(costs)


def test_quote_that_was_ordered_by_stays(owner, model):
    made = quote(owner, model)
    ordered(owner, made)
    with pytest.raises(Refused, match="so it stays"):
        change_quote(quote=made, supplier=made.supplier, prices=[], charges=[], by=owner, at=MAY)


def test_page_of_a_quote_answers_for_so_many(owner_client, owner, model):
    made = sea_quote(owner, model)
    context = owner_client.get(reverse("quote", args=[made.pk]), {"pieces": "5"}).context
    assert (context["pieces"], context["landed"].lines[0].cents) == (5, 5 * 440_00)


@pytest.mark.parametrize("pieces", ["", "0", "-1", "many", "99999999", "१"])
def test_odd_number_of_pieces_counts_as_the_least_quoted(owner_client, owner, model, pieces):
    made = quote(owner, model, prices=[(2, 900_00)])
    assert owner_client.get(reverse("quote", args=[made.pk]), {"pieces": pieces}).context["pieces"] in (1, 2)


def test_quote_below_its_least_quantity_has_no_landed_cost(owner, model):
    assert landed_of(quote(owner, model, prices=[(5, 900_00)]), 4, date(2026, 5, 4)) is None


def test_lists_ask_the_database_as_often_for_three_as_for_one(owner_client, owner, model):
    quote(owner, model, name="One")
    first = [queries_of(owner_client, reverse(name)) for name in ("quotes", "suppliers")]
    for name in ("Two", "Three"):
        quote(owner, model, name=name)
    assert [queries_of(owner_client, reverse(name)) for name in ("quotes", "suppliers")] == first


def refused(name, act):
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        act()


def test_tables_refuse_what_no_quote_can_be(owner, model):
    made = quote(owner, model)
    other = sea_quote(owner, model)
    change = Quote.objects.filter(pk=made.pk).update
    refused("quote_rate_above_zero", lambda: change(rate=0))
    refused("quote_deposit_at_most_all", lambda: change(deposit_bp=10_001))
    refused("quote_sea_terms_by_sea", lambda: Quote.objects.filter(pk=other.pk).update(mode="air"))
    refused("quote_price_above_zero", lambda: made.prices.update(unit_cents=0))
    refused("quote_cost_amount_or_share", lambda: other.costs.update(share_bp=100))
    with pytest.raises(IntegrityError), transaction.atomic():
        made.prices.create(from_pieces=1, unit_cents=1)
