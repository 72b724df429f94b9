"""Tax rules on pages: written down, chosen from published ones, said to hold somewhere."""

from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from locations.models import CabinetTax, Jurisdiction, LocationTax, TaxRule
from locations.taxes import queries
from tests.factories import LocationFactory, MachineFactory, PlacementFactory


def typed(**changed):
    rule = {"jurisdiction": "Port County", "treatment": "amusement", "how": "rate", "figure": "8.875"}
    return rule | {"source": "county order 12", "valid_from": "2025-01-01", "valid_to": "", "published": ""} | changed


def write(client, **changed):
    return client.post(reverse("tax-rule-add"), typed(**changed))


def test_a_rule_by_rate_is_kept_once(owner_client):
    for name, figure in (("Port County", "8.875"), ("port county", "8,875")):
        assert write(owner_client, jurisdiction=name, figure=figure).status_code == 302
    rule = TaxRule.objects.get()
    assert (rule.millionths, queries.rule_of(rule).words) == (88_750, "8.875 % inside the price")


# The divisor for amusement with a surtax of 1 %: Fla. Admin. Code 12A-15.011.
def test_a_published_divisor_is_chosen_with_its_source(owner_client):
    chosen = {"published": "fl-amusement-1050000", "figure": "", "source": ""}
    assert write(owner_client, **chosen).status_code == 302
    rule = TaxRule.objects.get()
    assert (rule.how, rule.millionths) == ("divisor", 1_050_000)
    assert rule.source == "Fla. Admin. Code 12A-15.011, text current to September 2024"


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"jurisdiction": ""}, "jurisdiction"),
        ({"jurisdiction": "\x00"}, "jurisdiction"),
        ({"figure": ""}, "figure"),
        ({"figure": "-4"}, "figure"),
        ({"figure": "100"}, "figure"),
        ({"figure": "nan"}, "figure"),
        ({"how": "divisor", "figure": "0.96"}, "figure"),
        ({"how": "divisor", "figure": "2"}, "figure"),
        ({"source": ""}, "source"),
        ({"published": "none"}, "published"),
        ({"valid_from": "0001-01-01"}, "valid_from"),
        ({"valid_to": "2024-12-31"}, "valid_to"),
    ],
)
def test_what_cannot_be_is_said_at_its_field(owner_client, changed, field):
    response = write(owner_client, **changed)
    assert (response.status_code, field in response.context["form"].errors) == (422, True)
    assert not TaxRule.objects.exists()


def test_another_rule_from_the_same_day_is_refused_until_the_first_is_withdrawn(owner_client):
    write(owner_client)
    assert list(write(owner_client, figure="9").context["form"].errors) == ["valid_from"]
    for _ in range(2):
        owner_client.post(reverse("tax-rule-withdraw", args=[TaxRule.objects.get().pk]))
    assert write(owner_client, figure="9").status_code == 302
    states = [one.state for one in owner_client.get(reverse("tax-rules")).context["table"].rows]
    assert sorted(states) == ["in force", "withdrawn"]
    assert "withdrawn by" in owner_client.get(reverse("tax-rule", args=[TaxRule.objects.first().pk])).content.decode()


def test_the_list_says_which_rules_hold(owner_client):
    write(owner_client)
    write(owner_client, valid_from="2026-01-01")
    write(owner_client, valid_from="2034-01-01")
    write(owner_client, treatment="goods", valid_to="2025-06-30")
    shown = owner_client.get(reverse("tax-rules")).context["table"].rows
    assert [(one.rule.treatment, one.rule.valid_from.year, one.state) for one in shown] == [
        ("amusement", 2034, "to come"),
        ("amusement", 2026, "in force"),
        ("amusement", 2025, "past"),
        ("goods", 2025, "past"),
    ]


def test_a_location_lies_in_a_place_and_its_cabinets_count_as_something(owner_client, owner):
    machine = PlacementFactory(machine=MachineFactory(code="C-9")).machine
    location = machine.placements.get().location
    write(owner_client)
    write(owner_client, treatment="goods", figure="6")
    place = Jurisdiction.objects.get()
    for day in ("2025-03-01", "2025-03-01", "2026-03-01"):
        said = {"jurisdiction": place.pk, "starts_on": day}
        assert owner_client.post(reverse("location-tax", args=[location.pk]), said).status_code == 302
    owner_client.post(reverse("location-tax", args=[location.pk]), {"jurisdiction": "", "starts_on": "2026-03-01"})
    assert LocationTax.objects.live().count() == 2
    owner_client.post(reverse("cabinet-tax", args=["C-9"]), {"treatment": "goods", "starts_on": "2025-06-01"})
    book = queries.rules_for([location.pk])
    days = [date(2025, 2, 28), date(2025, 3, 1), date(2025, 6, 1), date(2026, 3, 1)]
    found = [book.rule(location.pk, machine.pk, day) for day in days]
    assert [rule and rule.words for rule in found] == [None, "8.875 % inside the price", "6 % inside the price", None]
    page = owner_client.get(reverse("location-tax", args=[location.pk]))
    assert [(one.code, one.treatment, one.rule) for one in page.context["cabinets"]] == [("C-9", "sale of goods", None)]
    assert CabinetTax.objects.get().by.username == "ines"


def test_rules_of_many_locations_take_three_queries(owner_client):
    locations = LocationFactory.create_batch(3)
    write(owner_client)
    for location in locations:
        said = {"jurisdiction": Jurisdiction.objects.get().pk, "starts_on": "2025-03-01"}
        owner_client.post(reverse("location-tax", args=[location.pk]), said)
    with CaptureQueriesContext(connection) as captured:
        book = queries.rules_for([location.pk for location in locations])
    assert len(captured) == 3
    assert all(book.rule(location.pk, None, date(2025, 4, 1)) for location in locations)


def test_lists_take_as_many_queries_for_three_as_for_one(owner_client, queries_of):
    location = LocationFactory()
    addresses = [reverse("tax-rules"), reverse("location-tax", args=[location.pk])]
    write(owner_client)
    PlacementFactory(location=location)
    one = [queries_of(owner_client, address) for address in addresses]
    for year in (2026, 2027):
        write(owner_client, valid_from=f"{year}-01-01")
        PlacementFactory(location=location)
    assert [queries_of(owner_client, address) for address in addresses] == one


@pytest.mark.parametrize("pk", [0, 987654, 10**30])
def test_unknown_numbers_are_not_found(owner_client, pk):
    for name in ("tax-rule", "location-tax"):
        assert owner_client.get(reverse(name, args=[pk])).status_code == 404
    assert owner_client.post(reverse("tax-rule-withdraw", args=[pk])).status_code == 404
    assert owner_client.get(reverse("cabinet-tax", args=["nobody"])).status_code == 404


def test_database_refuses_figures_and_days_that_cannot_be(owner_client):
    write(owner_client)
    for wrong in ({"millionths": 1_000_000}, {"how": "divisor"}, {"valid_to": date(2024, 1, 1)}):
        with pytest.raises(IntegrityError), transaction.atomic():
            TaxRule.objects.update(**wrong)
    with pytest.raises(IntegrityError), transaction.atomic():
        TaxRule.objects.create(
            **{
                name: getattr(TaxRule.objects.get(), name)
                for name in ("jurisdiction", "valid_from", "millionths", "source", "by", "at", "received_at")
            }
        )
