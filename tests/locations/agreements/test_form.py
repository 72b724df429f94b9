"""Terms of every sort typed on one form, for a location or one cabinet, and their end."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from locations.agreements import queries
from locations.agreements.rules import terms_in_words
from locations.models import Agreement, Term
from tests.factories import LocationFactory, MachineFactory, PlacementFactory


@pytest.fixture
def location(db):
    return LocationFactory(name="Mill Lane")


def typed(**changed):
    return {"share": "40", "starts_on": "2026-03-01", "settled": "month", "paid": "cash", "note": ""} | changed


def save(client, location, **changed):
    return client.post(reverse("agreement-add", args=[location.pk]), typed(**changed))


def words(location, day=date(2026, 7, 1)):
    return [terms_in_words(deal) for deal in queries.in_force(location, day)]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"minimum": "25", "tax_by": "shared"}, "40 % of the take after tax, at least $25 a month"),
        ({"share": "", "rent": "12.50", "rent_per": "week"}, "a rent of $12.50 a week"),
        ({"share": "0", "visit": "5"}, "no share of the take and $5 for each visit"),
        (
            {"tier_1_above": "500", "tier_1_share": "45", "tiers_on": "whole", "cap": "900"},
            "40 % of the take, or 45 % of all of it once it is above $500 a month, at most $900 a month",
        ),
        (
            {"tier_1_above": "100", "tier_1_share": "45", "tier_2_above": "200", "tier_2_share": "50"}
            | {"tiers_per": "week", "refunds_by": "host"},
            "40 % of the take up to $100 a week, 45 % of what is above up to $200 a week and 50 % of what is above, "
            "less refunds",
        ),
        (
            {f"tier_{n}_above": n * 100 for n in (1, 2, 3)} | {f"tier_{n}_share": 40 + n for n in (1, 2, 3)},
            "40 % of the take up to $100 a month, 41 % of what is above up to $200 a month, "
            "42 % of what is above up to $300 a month and 43 % of what is above",
        ),
    ],
)
def test_terms_are_kept_as_typed_and_come_back_for_the_next(owner_client, location, changed, said):
    assert save(owner_client, location, **changed).status_code == 302
    assert words(location) == [said]
    again = owner_client.get(reverse("agreement-add", args=[location.pk])).context["form"]
    sent = {field.html_name: field.value() for field in again if field.value() is not None}
    assert owner_client.post(reverse("agreement-add", args=[location.pk]), prepared(again, sent)).status_code == 302
    assert words(location, date(2099, 1, 1)) == [said]


def prepared(form, sent):
    """What a browser would send of an untouched form."""
    return {name: form[name].field.prepare_value(value) for name, value in sent.items()}


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"share": ""}, "share"),
        ({"tier_1_above": "500"}, "tier_1_share"),
        ({"tier_1_share": "45"}, "tier_1_above"),
        (
            {"tier_1_above": "5", "tier_1_share": "45", "tier_2_above": "5", "tier_2_share": "50"},
            "tier_2_above",
        ),
        ({"minimum": "50", "cap": "40"}, "cap"),
        ({"minimum": "fifty"}, "minimum"),
        ({"rent": "9" * 30}, "rent"),
        ({"rent_per": "year"}, "rent_per"),
        ({"refunds_by": "nobody"}, "refunds_by"),
        ({"anchor": "0001-01-01"}, "anchor"),
        ({"machine": "987654"}, "machine"),
        ({"machine": "\x00"}, "machine"),
    ],
)
def test_what_cannot_be_is_said_at_its_field(owner_client, location, changed, field):
    response = save(owner_client, location, **changed)
    assert (response.status_code, list(response.context["form"].errors)) == (422, [field])
    assert not Agreement.objects.exists()


def test_further_figures_are_asked_for_before_anything_is_kept(owner_client, location):
    two = {f"tier_{n}_above": n * 100 for n in (1, 2)} | {f"tier_{n}_share": 40 + n for n in (1, 2)}
    response = save(owner_client, location, **two, more_tiers="on")
    form = response.context["form"]
    assert (response.status_code, list(form.errors), Agreement.objects.exists()) == (422, ["more_tiers"], False)
    assert {name for name in form.fields if name.endswith("_above")} == {f"tier_{n}_above" for n in (1, 2, 3, 4)}
    assert (form["more_tiers"].value(), form["tier_2_share"].value()) == (False, "42")


def test_a_cabinet_has_terms_of_its_own_beside_the_location(owner_client, location):
    machine = PlacementFactory(location=location, machine=MachineFactory(code="C-9")).machine
    save(owner_client, location)
    save(owner_client, location, share="50", machine=machine.pk)
    assert words(location) == ["40 % of the take", "50 % of the take"]
    page = owner_client.get(reverse("agreements", args=[location.pk]))
    assert [(one.about, one.state) for one in page.context["current"]] == [("", "in force"), ("C-9", "in force")]
    assert queries.words_of(queries.in_force(location, date(2026, 7, 1)))[1].startswith("C-9: 50 % of the take")
    elsewhere = MachineFactory(code="C-10")
    assert save(owner_client, location, machine=elsewhere.pk).status_code == 422


def test_terms_end_without_others_in_their_place(owner_client, location):
    save(owner_client, location)
    agreement = Agreement.objects.get()
    address = reverse("agreement-end", args=[agreement.pk])
    assert owner_client.post(address, {"last_day": "2026-05-31"}).status_code == 302
    assert owner_client.post(address, {"last_day": "2026-05-31"}).status_code == 302  # sent twice is one
    assert (words(location, date(2026, 5, 31)), words(location, date(2026, 6, 1))) == (["40 % of the take"], [])
    page = owner_client.get(reverse("agreements", args=[location.pk]))
    assert [one.words for one in page.context["table"].rows][0] == "from then on nothing is agreed"
    late = owner_client.post(address, {"last_day": "2026-07-31"})
    assert late.status_code == 422
    assert late.context["form"].errors == {
        "last_day": ["No terms are in force on that day, so there is nothing to end."]
    }
    owner_client.post(reverse("agreement-withdraw", args=[Agreement.objects.get(over=True).pk]))
    assert words(location, date(2026, 7, 1)) == ["40 % of the take"]


def test_other_terms_that_came_meanwhile_are_not_ended(owner_client, location):
    save(owner_client, location)
    agreement = Agreement.objects.get()
    save(owner_client, location, starts_on="2026-06-01", share="35")

    late = owner_client.post(reverse("agreement-end", args=[agreement.pk]), {"last_day": "2026-07-31"})

    assert late.context["form"].errors == {
        "last_day": [
            "On that day the terms from 1 June 2026 are in force, not these. "
            "Nothing was ended; look at the list of all terms and end those."
        ]
    }
    assert not Agreement.objects.filter(over=True).exists()


@pytest.mark.parametrize("day", ["", "soon", "0001-01-01", "9999-12-31"])
def test_an_end_that_cannot_be_is_said(owner_client, location, day):
    save(owner_client, location)
    response = owner_client.post(reverse("agreement-end", args=[Agreement.objects.get().pk]), {"last_day": day})
    assert (response.status_code, list(response.context["form"].errors)) == (422, ["last_day"])


def test_terms_before_others_say_up_to_when_they_hold(owner_client, location):
    save(owner_client, location, starts_on="2026-06-01")
    response = owner_client.post(
        reverse("agreement-add", args=[location.pk]), typed(starts_on="2026-03-01", share="35"), follow=True
    )
    said = "The terms are kept. They hold up to 31 May 2026; others follow."
    assert str(list(response.context["messages"])[-1]) == said


def test_the_list_comes_as_a_file(owner_client, location):
    save(owner_client, location)
    file = owner_client.get(reverse("agreements", args=[location.pk]), {"as": "csv"})
    assert "40 % of the take, settled every month" in b"".join(file.streaming_content).decode()


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "share", "cents": 5},
        {"kind": "rent", "cents": 0, "per": "week"},
        {"kind": "rent", "cents": 5, "per": ""},
        {"kind": "share", "rate_bp": 5, "above_cents": 9, "per": ""},
        {"kind": "visit", "cents": 5, "per": "week"},
    ],
)
def test_database_refuses_terms_without_meaning(owner_client, location, wrong):
    save(owner_client, location)
    Term.objects.all().delete()
    with pytest.raises(IntegrityError), transaction.atomic():
        Term.objects.create(agreement=Agreement.objects.get(), **wrong)


def test_database_holds_one_start_per_day_and_cabinet(owner_client, location, owner, noon):
    machine = MachineFactory()
    facts = {"by": owner, "at": noon, "received_at": noon, "location": location, "starts_on": date(2026, 3, 1)}
    Agreement.objects.create(**facts)
    Agreement.objects.create(machine=machine, **facts)
    with pytest.raises(IntegrityError), transaction.atomic():
        Agreement.objects.create(machine=machine, **facts)
