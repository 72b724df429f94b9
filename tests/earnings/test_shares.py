"""What hosts get under terms of every sort, other terms tried on past takes, and the tax inside the takes."""

from datetime import UTC, date, datetime

import pytest
from django.urls import reverse

from locations.agreements.actions import add_agreement
from locations.agreements.rules_terms import TermLine
from locations.placements.models import Placement
from locations.sites.models import Location
from locations.taxes.actions import add_rule, tax_location
from locations.taxes.models import Jurisdiction
from routeapp.cash.models import CashMove
from routeapp.earnings import queries, queries_report, queries_tax, queries_trial
from routeapp.earnings.queries_shares import Shares
from routeapp.earnings.rules import Span
from tests.earnings import story

MARCH = Span(date(2026, 3, 1), date(2026, 3, 31))
RENT = TermLine("rent", cents=3100, per="month")


@pytest.fixture
def route(owner):
    route = story.make_route(owner)
    for day in (3, 10):
        story.visit(
            route, route.arcade, story.utc(day, 18), story.entry(route, 1, reading=100 + day * 10, cents=10_000)
        )
    return route


def agree(route, location, *terms, day=date(2026, 3, 11), **chosen):
    facts = {"by": route.person, "at": story.RECEIVED, "received_at": story.RECEIVED}
    usual = {"settled": "month", "paid": "cash", "starts_on": day}
    return add_agreement(location=location, terms=terms, **usual | chosen, **facts)


def move(route, source, target, cents, **where):
    who = {"by": route.person, "at": story.utc(12, 9), "received_at": story.RECEIVED, "day": date(2026, 3, 12)}
    CashMove.objects.create(from_purse=source, to_purse=target, cents=cents, location=route.arcade, **where, **who)


def shares(span=MARCH):
    return [(line.deal.starts_on.day, [one.cents for one in line.lines]) for line in Shares(queries.book(span)).lines]


def test_rent_and_sums_for_visits_count_for_the_days_of_the_span(route):
    agree(route, route.cafe, RENT, TermLine("visit", cents=500), day=date(2026, 3, 2))
    found = shares()
    assert found[0] == (1, [8_000])  # the arcade: 40 % of two takes
    assert found[-1] == (2, [3_000, 0])  # the café: 30 of 31 days, no visit
    assert shares(Span(date(2026, 3, 1), date(2026, 3, 10)))[-1] == (2, [900, 0])
    assert queries_report.report(MARCH, date(2026, 4, 1)).total.share == 11_000


def test_no_rent_for_days_in_which_no_cabinet_stood(route):
    stay = Placement.objects.get(location=route.cafe)
    stay.started_at, stay.ended_by = datetime(2026, 2, 1, tzinfo=UTC), route.person
    agree(route, route.cafe, RENT, day=date(2026, 3, 2))

    def rent(ended_at):
        stay.ended_at = ended_at
        stay.save()
        trial = queries_trial.trial_of(route.cafe, MARCH, None)
        return shares()[1:], sum(row.present for row in trial.rows)

    assert rent(datetime(2026, 2, 28, 22, tzinfo=UTC)) == ([], 0)  # the last day of February in Lisbon
    assert rent(datetime(2026, 3, 2, 22, tzinfo=UTC)) == ([(2, [3_000])], 3_000)
    stay.started_at, stay.ended_by = datetime(2026, 3, 31, 23, tzinfo=UTC), None
    assert rent(None) == ([], 0)  # it is April there: summer time has begun


def test_a_cabinets_own_terms_take_it_out_of_those_of_the_location(route):
    machine = route.meters[0].machine
    agree(route, route.arcade, TermLine("share", 5000), RENT, machine=machine, day=date(2026, 3, 4))
    by_start = {line.deal.starts_on.day: line for line in Shares(queries.book(MARCH)).lines}
    assert {day: (line.earned.take, line.share) for day, line in by_start.items()} == {
        1: (10_000, 4_000),
        4: (10_000, 5_000 + 2_800),
    }
    report = queries_report.report(MARCH, date(2026, 4, 1))
    for rows in (report.locations, report.cabinets):
        assert sum(row.share or 0 for row in rows) == report.total.share == 11_800


def test_cards_fees_refunds_and_tax_are_reckoned_in(route, noon):
    machine = route.meters[0].machine
    move(route, "players", "cards", 10_400, machine=machine)
    move(route, "cards", "fees", 400, machine=machine)
    move(route, "host", "refunds", 600)
    who = {"by": route.person, "at": noon}
    rule = {"treatment": "amusement", "how": "rate", "millionths": 40_000, "valid_from": date(2026, 3, 11)}
    add_rule(jurisdiction="Port County", **rule, source="county order 12", **who)
    place = Jurisdiction.objects.get()
    tax_location(location=route.arcade, jurisdiction=place, starts_on=date(2026, 3, 1), **who)
    borne = {"tax_by": "shared", "card_fees_by": "shared", "refunds_by": "host"}
    agree(route, route.arcade, TermLine("share", 5000), **borne)
    line = next(line for line in Shares(queries.book(MARCH)).lines if line.deal.starts_on.day == 11)
    assert (line.earned.take, line.earned.card_fees, line.earned.refunds, line.earned.tax) == (10_400, 400, 600, 400)
    assert [one.cents for one in line.lines] == [4_800, -600]
    march = {(one.place, one.take, one.line and one.line.tax) for one in queries_tax.tax_by_month(MARCH)}
    assert march == {("Port County", 10_400, 400), ("no rule is known", 20_000, None)}


def test_the_page_of_tax_shows_rule_and_source_and_comes_as_a_file(route, owner_client, noon):
    who = {"by": route.person, "at": noon}
    rule = {"treatment": "amusement", "how": "divisor", "millionths": 1_050_000, "valid_from": date(2026, 1, 1)}
    add_rule(jurisdiction="Port County", **rule, source="county order 12", **who)
    tax_location(location=route.arcade, jurisdiction=Jurisdiction.objects.get(), starts_on=date(2026, 1, 1), **who)
    address = {"since": "2026-03-01", "until": "2026-03-31"}
    page = owner_client.get(reverse("tax-summary"), address)
    assert (page.context["tax"], page.context["without"]) == (952, 0)  # 20,000 ÷ 1.05 is 19,048 and some
    file = owner_client.get(reverse("tax-summary"), address | {"as": "csv"})
    lines = b"".join(file.streaming_content).decode("utf-8-sig").splitlines()
    assert lines[1] == "March 2026,Port County,amusement,200.00,190.48,9.52,divided by 1.05,county order 12"
    behind = owner_client.get(reverse("profit-amounts"), address | {"part": "tax"})
    assert reverse("tax-rules") in behind.content.decode().partition("<main")[2]


def test_other_terms_stand_beside_the_present_ones(route, owner_client):
    address = {"since": "2026-03-01", "until": "2026-03-31", "share": "30", "minimum": "75", "minimum_per": "month"}
    page = owner_client.get(reverse("trial", args=[route.arcade.pk]), address)
    [row] = page.context["trial"].rows
    assert (row.take, row.present, row.other, row.difference) == (20_000, 8_000, 7_500, -500)
    assert page.context["other"] == "30 % of the take, at least $75 a month"
    alone = owner_client.get(reverse("trial", args=[route.arcade.pk]), {"since": "2026-03-01", "until": "2026-03-31"})
    assert (alone.context["trial"].rows[0].other, alone.context["terms"]["share"].value()) == (None, "50")


def test_other_terms_are_not_tried_on_days_before_the_place_began(route):
    Placement.objects.filter(location=route.arcade).update(started_at=story.utc(3, 12))
    year = Span(date(2025, 4, 1), date(2026, 3, 31))
    other = queries_trial.meant(route.arcade, year, [RENT], {})
    rows = queries_trial.trial_of(route.arcade, year, other).rows

    assert [(row.stretch.since, row.take, row.other) for row in rows] == [(date(2026, 3, 1), 20_000, 3_100)]
    before = Span(date(2025, 4, 1), date(2025, 6, 30))
    assert queries_trial.trial_of(route.arcade, before, other).rows == []


def test_terms_are_tried_in_the_periods_of_the_present_ones(route, owner_client):
    agree(route, route.arcade, TermLine("share", 4000), settled="visit", day=date(2026, 3, 20))
    address = {"since": "2026-03-01", "until": "2026-03-31", "share": "30"}
    rows = owner_client.get(reverse("trial", args=[route.arcade.pk]), address).context["trial"].rows
    assert [(row.stretch.until.day, row.other) for row in rows] == [(3, 3_000), (10, 3_000)]
    file = owner_client.get(reverse("trial", args=[route.arcade.pk]), address | {"as": "csv"})
    assert b"".join(file.streaming_content).decode("utf-8-sig").splitlines()[1].endswith("100.00,40.00,30.00,-10.00")


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("Café", "filename*=utf-8''terms%20tried%20at%20Caf%C3%A9.csv"),
        ('The "Pier"', r'filename="terms tried at The \"Pier\".csv"'),
        ("Two\r\nlines", 'filename="terms tried at Two lines.csv"'),
    ],
)
def test_file_is_named_after_a_location_of_any_name(route, owner_client, name, told):
    Location.objects.filter(pk=route.arcade.pk).update(name=name)
    file = owner_client.get(reverse("trial", args=[route.arcade.pk]), {"share": "30", "as": "csv"})
    assert (file.status_code, file.headers["Content-Disposition"]) == (200, f"attachment; {told}")


@pytest.mark.parametrize(
    "address",
    [
        {"share": "\x00"},
        {"share": "1e9"},
        {"share": "30", "minimum": "9" * 40},
        {"since": "0001-01-01", "share": "30"},
        {"since": "9999-12-31", "until": "9999-12-31"},
        {"range": "never", "tier_1_share": "5"},
    ],
)
def test_nonsense_in_the_address_breaks_nothing(route, owner_client, address):
    assert owner_client.get(reverse("trial", args=[route.arcade.pk]), address).status_code == 200
    assert owner_client.get(reverse("tax-summary"), address).status_code == 200


def test_pages_take_as_many_queries_for_more(route, owner_client, django_assert_num_queries):
    addresses = (reverse("trial", args=[route.arcade.pk]) + "?since=2026-03-01&share=30", reverse("tax-summary"))
    for address in addresses:
        owner_client.get(address)
    counts = (23, 6)
    for _ in range(2):
        for address, count in zip(addresses, counts, strict=True):
            with django_assert_num_queries(count):
                owner_client.get(address)
        agree(route, route.cafe, RENT)
        story.visit(route, route.cafe, story.utc(12, 9), story.entry(route, 3, reading=300, cents=4_000))
