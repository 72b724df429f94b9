"""What is decided about depreciation, and the pages that spread it over years."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from machines.cabinets.actions import change_status
from machines.depreciation import queries
from machines.depreciation.actions import choose_depreciation
from machines.depreciation.models import DepreciationChoice
from tests import factories
from tests.machines.counting import queries_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def claw(owner, noon):
    machine = factories.MachineFactory(code="C-7")
    change_status(machine=machine, status="ready", by=owner, at=noon, received_at=noon)
    return machine


def typed(**changed):
    said = {"uuid": uuid4(), "in_service_on": "2026-06-01", "cost_cents": "2500", "method": "straight", "life_years": 5}
    return said | {"convention": "test", "class_years": "7", "decided_with": "Ada Winter, 2 June"} | changed


def send(client, **changed):
    return client.post(reverse("depreciation-choose", args=["C-7"]), typed(**changed))


def decide(machine, person, noon, **more):
    said = {"cost_cents": 2_500_00, "in_service_on": date(2026, 6, 1), "class_years": 7} | more
    return choose_depreciation(uuid=uuid4(), machine=machine, by=person, at=noon, **said)


def test_choice_starts_from_the_day_the_cabinet_was_ready(owner_client, claw):
    form = owner_client.get(reverse("depreciation-choose", args=["C-7"])).context["form"]

    assert form.initial["in_service_on"] == date(2026, 6, 1)


def test_choice_shows_both_spreads_and_their_sum(owner_client, claw):
    assert send(owner_client).status_code == 302

    table = owner_client.get(reverse("cabinet-depreciation", args=["C-7"])).context["table"]

    assert [cell.value for cell in table.sums()] == [None, 2_500_00, None, None, 2_500_00, None]
    assert [row for row, _ in table.cells()] == list(range(2026, 2034))


def test_years_come_as_a_file(owner_client, claw):
    send(owner_client)

    lines = owner_client.get(reverse("cabinet-depreciation", args=["C-7"]) + "?as=csv").getvalue().decode().splitlines()

    # Table A-1, 7 years: 14.29 % of 2,500 is 357 in whole dollars, and the last year takes 113.
    assert lines[1].split(",")[3:] == ["14.29 %", "357.00", "2143.00"]
    assert lines[-1].split(",")[3:] == ["4.46 %", "113.00", "0.00"]


def test_same_choice_sent_twice_is_one_and_another_takes_its_place(owner_client, claw):
    twice = typed()
    for _ in range(2):
        owner_client.post(reverse("depreciation-choose", args=["C-7"]), twice)
    send(owner_client, life_years=3)

    assert list(DepreciationChoice.objects.live().values_list("life_years", flat=True)) == [3]
    assert DepreciationChoice.objects.count() == 2


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"method": "table", "class_years": ""}, "class_years", "The percentages are by class."),
        ({"cost_cents": ""}, "cost_cents", "No order says what it cost."),
        ({"worth_after_cents": "2500.01"}, "worth_after_cents", "Afterwards it cannot be worth more"),
        ({"section_179_cents": "9000"}, "section_179_cents", "That is more than it cost."),
        ({"in_service_on": "1986-12-31"}, "in_service_on", "The tables start with 1 January 1987."),
        ({"in_service_on": "9999-12-31"}, "in_service_on", "Only years from 1900 to 2200 make sense here."),
        ({"in_service_on": "0001-01-01"}, "in_service_on", "Only years from 1900 to 2200 make sense here."),
        ({"cost_cents": "\0"}, "cost_cents", "Null characters"),
        ({"life_years": "99999999999"}, "life_years", "The most that makes sense here is 40."),
        ({"bonus_bp": "101"}, "bonus_bp", "Write a percentage"),
    ],
)
def test_what_makes_no_sense_is_said_and_kept(owner_client, claw, changed, field, sentence):
    answer = send(owner_client, **changed)

    assert answer.status_code == 422
    assert answer.context["form"].errors[field][0].startswith(sentence)
    assert DepreciationChoice.objects.count() == 0


def test_year_lists_every_cabinet_and_says_what_is_undecided(owner_client, owner, noon, claw):
    factories.MachineFactory(code="C-8")
    decide(claw, owner, noon)

    answer = owner_client.get(reverse("depreciation") + "?year=2027")

    assert (answer.context["total"], answer.context["undecided"]) == (499_73, 1)  # 365 of 1,826 days
    assert [row.machine.code for row, _ in answer.context["table"].cells()] == ["C-7", "C-8"]


def test_test_of_the_last_quarter_changes_the_table_of_the_whole_year(owner, noon, claw):
    late = factories.MachineFactory(code="C-8")
    decide(claw, owner, noon)
    decide(late, owner, noon, cost_cents=1_700_00, in_service_on=date(2026, 12, 1))

    assert [one.table.name for one in queries.spreads_of("UTC").values()] == ["A-3", "A-5"]


def test_cabinet_that_is_sold_stops(owner, noon, claw):
    decide(claw, owner, noon, in_service_on=date(2025, 6, 1))
    change_status(machine=claw, status="sold", by=owner, at=noon, received_at=noon)

    spread = queries.spreads_of("UTC")[claw.pk]

    assert (spread.choice.sold_on, spread.tabled[-1].cents) == (date(2026, 6, 1), 306_00)  # half of 612


@pytest.mark.parametrize("year", ["", "x", "9999", "0", "99999999999999999999", "\0", "-1"])
def test_year_that_makes_no_sense_is_this_one(owner_client, claw, year):
    answer = owner_client.get(reverse("depreciation"), {"year": year})

    assert (answer.status_code, answer.context["year"]) == (200, answer.context["year"])


def test_pages_ask_as_much_for_three_cabinets_as_for_one(owner_client, owner, noon, claw):
    decide(claw, owner, noon)
    one = queries_of(owner_client, reverse("depreciation"))
    for code in ("C-8", "C-9"):
        decide(factories.MachineFactory(code=code), owner, noon)
    assert queries_of(owner_client, reverse("depreciation")) == one


@pytest.mark.parametrize(
    ("changed", "constraint"),
    [
        ({"life_years": 0}, "depreciation_life_1_to_40"),
        ({"bonus_bp": 10_001}, "depreciation_bonus_at_most_all"),
        ({"worth_after_cents": 2}, "depreciation_worth_after_within_cost"),
        ({"method": "table"}, "depreciation_table_needs_a_class"),
    ],
)
def test_database_holds_the_rules(owner, noon, claw, changed, constraint):
    facts = {"by": owner, "at": noon, "received_at": noon, "in_service_on": date(2026, 6, 1), "cost_cents": 1}
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        DepreciationChoice.objects.create(uuid=uuid4(), machine=claw, **facts | changed)


def test_database_keeps_one_live_choice_for_a_cabinet(owner, noon, claw):
    decide(claw, owner, noon)
    facts = {"by": owner, "at": noon, "received_at": noon, "in_service_on": date(2026, 6, 1)}
    with pytest.raises(IntegrityError), transaction.atomic():
        DepreciationChoice.objects.create(uuid=uuid4(), machine=claw, **facts)
