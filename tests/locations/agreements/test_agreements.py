"""Terms with a host: in force from a day, said in words, withdrawn when they were wrong."""

from datetime import UTC, date, datetime

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from locations.agreements import actions, queries
from locations.agreements.rules_terms import TermLine
from locations.models import Agreement, Term
from tests.factories import LONG_AGO, LocationFactory


@pytest.fixture
def location(db):
    return LocationFactory(name="Mill Lane", time_zone="Pacific/Auckland")


@pytest.fixture
def agree(owner, location, noon):
    def add(starts_on, rate_bp, **changed):
        facts = {"location": location, "settled": "month", "paid": "cash", "by": owner, "at": noon, "received_at": noon}
        return actions.add_agreement(starts_on=starts_on, terms=[TermLine("share", rate_bp)], **facts | changed)

    return add


def in_force(location, day):
    return [deal.agreement for deal in queries.in_force(location, day)]


def rates(deals):
    return [(deal.starts_on, deal.ends_on, deal.terms[0].rate_bp) for deal in deals]


def typed(**changed):
    return {"share": "40", "starts_on": "2026-03-01", "settled": "month", "paid": "cash", "note": ""} | changed


def test_agreement_in_force_is_the_one_that_started_last(location, agree):
    old, new = agree(date(2026, 3, 1), 3500), agree(date(2026, 6, 1), 4000)
    assert in_force(location, date(2026, 2, 28)) == []
    assert in_force(location, date(2026, 3, 1)) == [old.pk]
    assert in_force(location, date(2026, 5, 31)) == [old.pk]
    assert in_force(location, date(2026, 6, 1)) == [new.pk]


def test_withdrawn_agreement_gives_way_to_the_one_before(location, agree, owner, noon):
    old, wrong = agree(date(2026, 3, 1), 3500), agree(date(2026, 6, 1), 9000)
    actions.withdraw_agreement(agreement=wrong, by=owner, at=noon)
    assert in_force(location, date(2026, 7, 1)) == [old.pk]


def test_deals_of_many_locations_come_sorted_in_two_queries(location, agree, owner, noon):
    other = LocationFactory()
    agree(date(2026, 6, 1), 4000)
    agree(date(2026, 3, 1), 3500)
    agree(date(2026, 1, 1), 2500, location=other)
    actions.withdraw_agreement(agreement=agree(date(2026, 9, 1), 9000), by=owner, at=noon)
    with CaptureQueriesContext(connection) as captured:
        found = queries.deals_for([location.pk, other.pk, LocationFactory.build().pk or 0])
    assert len(captured) == 2
    assert {key: rates(deals) for key, deals in found.items()} == {
        location.pk: [(date(2026, 3, 1), date(2026, 5, 31), 3500), (date(2026, 6, 1), None, 4000)],
        other.pk: [(date(2026, 1, 1), None, 2500)],
    }


def test_terms_are_written_down_and_marked_as_in_force(owner_client, location):
    response = owner_client.post(reverse("agreement-add", args=[location.pk]), typed(share="37,5 %"))
    assert response.url == reverse("agreements", args=[location.pk])
    assert Term.objects.get().rate_bp == 3750
    page = owner_client.get(response.url)
    [current] = page.context["current"]
    assert current.words == "37.5 % of the take, settled every month, paid in cash"
    assert "in force" in page.content.decode()


def test_terms_to_come_are_not_in_force(owner_client, location, agree):
    agree(date(2099, 1, 1), 4000)
    page = owner_client.get(reverse("agreements", args=[location.pk]))
    assert page.context["current"] == []
    assert [one.state for one in page.context["table"].rows] == ["to come"]


def test_page_without_terms_says_what_holds(office_client, location):
    assert "Write down the first terms" in office_client.get(reverse("agreements", args=[location.pk])).content.decode()


def test_same_terms_sent_twice_are_one(owner_client, location):
    for _ in range(2):
        assert owner_client.post(reverse("agreement-add", args=[location.pk]), typed()).status_code == 302
    assert Agreement.objects.count() == 1


def test_other_terms_from_the_same_day_are_refused(owner_client, location):
    address = reverse("agreement-add", args=[location.pk])
    owner_client.post(address, typed())
    response = owner_client.post(address, typed(share="45"))
    assert response.status_code == 422
    assert set(response.context["form"].errors) == {"starts_on"}
    assert Term.objects.get().rate_bp == 4000


@pytest.mark.parametrize("share", ["", "-1", "100.01", "101", "40.555", "nan", "1e9", "forty", "\x00", "9" * 400])
def test_share_that_cannot_be_is_said_at_its_field(owner_client, location, share):
    response = owner_client.post(reverse("agreement-add", args=[location.pk]), typed(share=share))
    assert response.status_code == 422
    assert set(response.context["form"].errors) == {"share"}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("starts_on", "0001-01-01"),
        ("starts_on", "soon"),
        ("starts_on", "2999-01-01"),
        ("settled", "never"),
        ("paid", ""),
    ],
)
def test_other_fields_are_checked_too(owner_client, location, field, value):
    response = owner_client.post(reverse("agreement-add", args=[location.pk]), typed(**{field: value}))
    assert response.status_code == 422
    assert set(response.context["form"].errors) == {field}


def test_withdrawn_terms_stay_readable_with_who_and_when(owner_client, owner, location, agree):
    agreement = agree(date(2026, 3, 1), 9000)
    for _ in range(2):
        owner_client.post(reverse("agreement-withdraw", args=[agreement.pk]))
    agreement.refresh_from_db()
    assert agreement.withdrawn_by == owner
    assert "withdrawn" in owner_client.get(reverse("agreements", args=[location.pk])).content.decode()
    page = owner_client.get(reverse("agreement", args=[agreement.pk])).content.decode()
    assert "90 % of the take" in page
    assert "withdrawn by Ines" in page


def test_day_of_withdrawn_terms_is_free_again(owner_client, location, agree):
    owner_client.post(reverse("agreement-withdraw", args=[agree(date(2026, 3, 1), 9000).pk]))
    owner_client.post(reverse("agreement-add", args=[location.pk]), typed())
    assert rates(queries.deals_for([location.pk])[location.pk]) == [(date(2026, 3, 1), None, 4000)]


def test_list_takes_as_many_queries_for_three_as_for_one(owner_client, location, agree, queries_of):
    address = reverse("agreements", args=[location.pk])
    agree(date(2026, 1, 1), 1000)
    one = queries_of(owner_client, address)
    agree(date(2026, 2, 1), 2000)
    agree(date(2026, 3, 1), 3000)
    assert queries_of(owner_client, address) == one


def test_route_hands_do_not_see_the_terms(hand_client, location):
    assert hand_client.get(reverse("agreements", args=[location.pk])).status_code == 403


@pytest.mark.parametrize("pk", [0, 987654, 10**30])
def test_unknown_numbers_are_not_found(owner_client, pk):
    assert owner_client.get(reverse("agreements", args=[pk])).status_code == 404
    assert owner_client.post(reverse("agreement-withdraw", args=[pk])).status_code == 404
    for name in ("agreement", "agreement-end"):
        assert owner_client.get(reverse(name, args=[pk])).status_code == 404


def test_database_holds_one_start_per_day_and_location(location, agree, owner):
    agree(date(2026, 3, 1), 4000)
    facts = {"by": owner, "at": LONG_AGO, "received_at": LONG_AGO}
    with pytest.raises(IntegrityError), transaction.atomic():
        Agreement.objects.create(location=location, starts_on=date(2026, 3, 1), **facts)


def test_database_refuses_a_withdrawal_without_a_name(agree, noon):
    agreement = agree(date(2026, 3, 1), 4000)
    with pytest.raises(IntegrityError), transaction.atomic():
        Agreement.objects.filter(pk=agreement.pk).update(withdrawn_at=noon)


def test_database_refuses_more_than_all_of_the_take(agree):
    with pytest.raises(IntegrityError), transaction.atomic():
        agree(date(2026, 3, 1), 4000).terms.update(rate_bp=10001)


def test_database_holds_each_kind_of_term_once(agree):
    agreement = agree(date(2026, 3, 1), 4000)
    with pytest.raises(IntegrityError), transaction.atomic():
        Term.objects.create(agreement=agreement, kind="share", rate_bp=100)


@pytest.mark.parametrize("meanwhile", [[], [(date(2026, 4, 1), None, 5000)]])
def test_location_opened_again_takes_up_its_terms_from_that_day(location, agree, owner, meanwhile):
    agree(date(2026, 3, 1), 4000)
    location.closed_on = date(2026, 3, 10)
    location.save()
    for starts_on, _, rate_bp in meanwhile:
        agree(starts_on, rate_bp)
    at = datetime(2026, 6, 10, 13, tzinfo=UTC)  # the 11th in Auckland

    actions.reopen_location(location=location, by=owner, at=at)

    then = meanwhile or [(date(2026, 6, 11), None, 4000)]
    assert rates(queries.deals_for([location.pk])[location.pk]) == [(date(2026, 3, 1), date(2026, 3, 10), 4000), *then]


@pytest.mark.parametrize("starts_on", [date(2026, 3, 11), date(2026, 4, 1)])
def test_terms_planned_before_the_closing_begin_when_the_location_opens_again(location, agree, owner, starts_on):
    known = {"received_at": LONG_AGO}
    agree(date(2026, 3, 1), 4000, **known)
    agree(starts_on, 5000, **known)
    location.closed_on = date(2026, 3, 10)
    location.save()

    actions.reopen_location(location=location, by=owner, at=datetime(2026, 6, 10, 13, tzinfo=UTC))

    held, anew = (date(2026, 3, 1), date(2026, 3, 10), 4000), (date(2026, 6, 11), None, 5000)
    assert rates(queries.deals_for([location.pk])[location.pk]) == [held, anew]
