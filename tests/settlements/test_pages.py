"""Pages of settlements, for owner and bookkeeper: drafts, issuing, the paper, the money behind it, accounts."""

import re
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from locations.agreements.rules_terms import TermLine
from routeapp.cash.models import CashMove
from routeapp.models import Business, Remittance, Settlement
from routeapp.settlements import queries, queries_facts
from routeapp.settlements.queries_paper import paper, shown
from tests import factories
from tests.settlements.world import IN_APRIL, IN_MAY, agree, arcade, end, issue, sealed, visit

pytestmark = pytest.mark.django_db
DRAFT = "/settlements/due/{}/2026-03-01/"


def draft_of(world):
    return DRAFT.format(world.location.pk)


def posted(client, address, **said):
    return client.post(address, {"uuid": str(uuid4()), **said})


def test_host_paid_on_the_spot_is_not_paid_ahead_while_earlier_days_wait(owner_client, owner):
    world = arcade(owner, paid="cash")
    for name, days in (("march", 1), ("april", 35)):
        visit(world, name, days, 10_000, pay=4_000)

    def said(address):
        text = owner_client.get(address).text
        facts = re.findall(r"<dt>(.*?)</dt><dd[^>]*>(?:<strong>)?(.*?)<", text)
        return "Issue what comes before it first" in text, [(name, cents) for name, cents in facts]

    in_april = f"/settlements/due/{world.location.pk}/2026-04-01/"
    paid = ("Paid since the last one issued", "$80.00")
    earlier = ("For earlier days, not issued yet", "$40.00")
    assert said(in_april) == (True, [("Open before", "$0.00"), earlier, paid, ("To be paid", "$0.00")])
    account = f"/locations/{world.location.pk}/account/"
    assert "$80.00</span> paid for Lantern Arcade beyond what was issued" in owner_client.get(account).text
    issue(world, IN_MAY)
    now = [("Open before", "$0.00"), ("Paid since the last one issued", "$40.00"), ("To be paid", "$0.00")]
    assert said(in_april) == (False, now)


def test_due_drafts_are_listed_and_go_out_as_csv(owner_client, world):
    page = owner_client.get("/settlements/due/")
    csv = b"".join(owner_client.get("/settlements/due/?as=csv")).decode()

    assert '<span class="figure">1</span> settlement to be issued' in page.text
    assert csv.splitlines()[1] == f"Lantern Arcade,{world.location.host},March 2026,123.45,49.38,0.00,10.00,39.38,"


def test_what_was_paid_for_the_last_paper_is_not_taken_for_the_next_draft(owner_client, world):
    issue(world, IN_APRIL)
    visit(world, "two", 33, 10_000, pay=3_938)
    visit(world, "three", 65, 5_000)
    csv = b"".join(owner_client.get("/settlements/due/?as=csv")).decode().splitlines()

    assert [line.split(",")[2:] for line in csv[1:]] == [
        ["April 2026", "100.00", "40.00", "39.38", "39.38", "40.00", ""],
        ["May 2026", "50.00", "20.00", "40.00", "0.00", "60.00", ""],
    ]


def test_draft_is_issued_once_however_often_it_is_sent(owner_client, world):
    said = {"uuid": str(uuid4()), "seen_cents": 4_938}
    answers = [owner_client.post(draft_of(world), said) for _ in range(2)]

    one = Settlement.objects.get()
    assert [answer.headers["Location"] for answer in answers] == [f"/settlements/{one.pk}/"] * 2
    assert (one.number, one.cents, one.closing_cents) == (1, 4_938, 3_938)


def test_draft_that_changed_meanwhile_is_shown_anew(owner_client, world):
    answer = posted(owner_client, draft_of(world), seen_cents=1)

    assert answer.status_code == 422
    assert "it is $49.38 now, not $0.01. Look again; nothing was issued." in answer.text


def test_draft_names_the_days_on_which_a_cabinet_had_no_terms(owner_client, world):
    machine = world.meters[1].machine
    end(world, date(2026, 3, 2))
    agree(world, machine=machine, starts_on=date(2026, 3, 3))
    visit(world, "two", 2, 5_000, cabinet=1)

    page = owner_client.get(draft_of(world)).text

    assert "$123.45 came in on 3 March 2026 from cabinets without terms" in page


def test_draft_names_the_bag_and_asks(owner_client, world):
    sealed(world, "home", 5)
    page = owner_client.get(draft_of(world))

    assert "Bag S-home of 7 Mar is not counted yet" in page.text
    assert posted(owner_client, draft_of(world), seen_cents=4_938).status_code == 422
    assert posted(owner_client, draft_of(world), seen_cents=4_938, although="on").status_code == 302


@pytest.mark.parametrize("since", ["2026-03-07", "9999-12-31", "0001-01-01"])
def test_day_on_which_no_settlement_starts_leads_to_the_account(owner_client, world, since):
    answer = owner_client.get(f"/settlements/due/{world.location.pk}/{since}/")
    assert answer.headers["Location"] == f"/locations/{world.location.pk}/account/"


@pytest.mark.parametrize("since", ["yesterday", "2026-02-30", "%00"])
def test_what_is_no_day_is_not_found(owner_client, world, since):
    assert owner_client.get(f"/settlements/due/{world.location.pk}/{since}/").status_code == 404


def test_paper_shows_lines_payments_and_what_is_open(owner_client, world):
    page = owner_client.get(f"/settlements/{issue(world).pk}/").text

    for words in ("40 % of the take", "of $123.45", "In cash at the visit, 3 March 2026", "−$10.00", "$39.38"):
        assert words in page


def test_money_behind_a_line_leads_to_its_visit_and_marks_what_came_late(owner_client, world):
    one = issue(world)
    late = visit(world, "late", 9, 2_500, received=IN_APRIL + timedelta(days=1))

    page = owner_client.get(f"/settlements/{one.pk}/lines/1/").text

    assert page.count("came after it was issued") == 1
    assert f"/visits/{late.pk}/" in page
    assert sum(move.cents for move in CashMove.objects.filter(from_purse="players")) == 14_845


def test_money_behind_a_line_is_what_it_was_worked_out_from(owner_client, world):
    agree(world, [TermLine("share", 1000)], machine=world.meters[1].machine, starts_on=date(2026, 3, 10))
    for name, days in (("two", 2), ("three", 20)):  # under the terms of the location, and under its own
        visit(world, name, days, 5_000, cabinet=1)
    one = issue(world)

    pages = [owner_client.get(f"/settlements/{one.pk}/lines/{line.place}/") for line in one.lines.all()]
    behind = [sum(map(queries_facts.amount, page.context["table"].found)) for page in pages]

    assert behind == [line.base_cents for line in one.lines.all()] == [17_345, 5_000]


def test_paper_and_pdf_are_dated_by_the_day_of_the_location(owner_client, world):
    one = issue(world, datetime(2026, 5, 1, 3, tzinfo=UTC))  # ten in the evening in Chicago

    facts = dict(paper(shown(one), Business.objects.get()).facts)
    assert facts["Issued"] == "30 April 2026"
    assert "<dt>Issued</dt><dd>30 April 2026</dd>" in owner_client.get(f"/settlements/{one.pk}/").text


def test_pdf_is_the_same_each_time_and_says_void(owner_client, world):
    one = issue(world)
    first, second = (owner_client.get(f"/settlements/{one.pk}/pdf/").content for _ in range(2))
    assert first.startswith(b"%PDF-")
    assert first == second

    owner_client.post(f"/settlements/{one.pk}/void/", {"reason": "Wrong name"})
    assert owner_client.get(f"/settlements/{one.pk}/pdf/").content != first
    assert "Wrong name" in owner_client.get(f"/settlements/{one.pk}/").text


def test_void_without_a_reason_is_asked_for_it(owner_client, world):
    one = issue(world)
    assert owner_client.post(f"/settlements/{one.pk}/void/", {"reason": " "}).status_code == 422
    one.refresh_from_db()
    assert one.withdrawn_at is None


def test_payment_is_noted_in_parts_and_more_than_owed_is_asked_about(owner_client, world):
    issue(world)
    account = f"/locations/{world.location.pk}/account/"
    said = {"means": "own", "day": "2026-04-20", "note": "First part"}

    assert posted(owner_client, account, cents="20.00", **said).status_code == 302
    asked = posted(owner_client, account, cents="30.00", **said)
    assert asked.status_code == 422
    assert "They are owed $19.38, so this is $10.62 too much or paid ahead." in asked.text
    assert posted(owner_client, account, cents="30.00", although="on", **said).status_code == 302
    assert queries.owed_cents([world.location.pk]) == {world.location.pk: -1_062}


@pytest.mark.parametrize("cents", ["€5", "5 EUR", "£5.00"])
def test_amount_in_another_currency_is_refused_in_words(owner_client, world, cents):
    issue(world)
    answer = posted(
        owner_client, f"/locations/{world.location.pk}/account/", cents=cents, means="own", day="2026-04-20"
    )
    assert answer.status_code == 422
    assert "is in another currency. Here amounts are in USD." in answer.text
    assert Remittance.objects.count() == 0


def test_account_lists_papers_and_payments_with_what_was_owed_then(owner_client, world):
    issue(world)
    page = owner_client.get(f"/locations/{world.location.pk}/account/").text
    assert "owed then $39.38" in page
    assert '<span class="figure">$39.38</span> owed for Lantern Arcade' in page


def test_first_page_teaches_and_before_can_be_said(owner_client, world):
    assert "They were settled with before" in owner_client.get("/settlements/").text
    answer = owner_client.post("/settlements/before/", {"until": "2026-03-31"})
    assert answer.status_code == 302
    assert owner_client.post("/settlements/before/", {"until": "2026-03-31"}).status_code == 422
    assert queries.owed_cents([world.location.pk]) == {world.location.pk: 0}


def test_lists_ask_the_same_number_of_questions_for_one_and_three(owner_client, world):
    issue(world)
    seen = {address: [] for address in ("/settlements/", "/settlements/due/", "/settlements/owed/")}
    for name in ("", "Quay", "Pier"):
        if name:
            world.location = factories.LocationFactory(name=name, time_zone="America/Chicago")
            agree(world)
            visit(world, name, 1, 1_000, pay=100)
            issue(world)
        visit(world, f"april {name}", 35, 1_000)
        for address, counts in seen.items():
            with CaptureQueriesContext(connection) as asked:
                assert owner_client.get(address).status_code == 200
            counts.append(len(asked))
    assert {address: len(set(counts)) for address, counts in seen.items()} == dict.fromkeys(seen, 1)


def test_settlements_start_in_the_time_zone_of_the_location(owner_client, world):
    """A visit on the last evening of the month belongs to that month by the location's own clock."""
    at = datetime(2026, 4, 1, 3, tzinfo=UTC)  # 31 March, 22:00 in Chicago
    visit(world, "evening", (at - datetime(2026, 3, 2, 10, tzinfo=UTC)) / timedelta(days=1), 1_000)
    assert "$53.38" in owner_client.get(draft_of(world)).text
