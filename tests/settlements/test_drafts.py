"""What hosts get is worked out from the facts, by the terms that held, for days that are over."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from locations.agreements.rules_terms import TermLine
from routeapp.cash import actions as cash
from routeapp.cash.models import Bag, CashMove
from routeapp.settlements import queries_drafts, queries_unagreed
from tests import factories
from tests.settlements.world import (
    FORTY,
    IN_APRIL,
    IN_MARCH,
    IN_MAY,
    agree,
    arcade,
    drafts,
    end,
    issue,
    sealed,
    visit,
)
from tests.visits.books import START, document, make_world, record

pytestmark = pytest.mark.django_db


def test_draft_gives_the_share_of_the_take_of_the_month(owner):
    world = arcade(owner)
    visit(world, "one", 1, 10_000)
    visit(world, "two", 8, 2_345)

    (draft,) = drafts(world)

    assert (draft.spoken, draft.take, draft.cents) == ("March 2026", 12_345, 4_938)
    assert [(row.words, row.base, row.cents) for row in draft.rows] == [("40 % of the take", 12_345, 4_938)]


def test_each_line_is_rounded_half_up_once(owner):
    world = arcade(owner, terms=[TermLine("share", 5000)])
    visit(world, "one", 1, 101)
    visit(world, "two", 2, 100)

    assert drafts(world)[0].cents == 101  # half of 2.01, 100.5 cents: half up


def test_working_a_draft_out_again_changes_nothing(owner):
    world = arcade(owner)
    visit(world, "one", 1, pay=500)
    before = CashMove.objects.count()

    assert drafts(world) == drafts(world)
    assert CashMove.objects.count() == before


def test_month_that_runs_is_no_draft_to_issue_yet(owner):
    world = arcade(owner)
    visit(world, "one", 1)

    assert drafts(world, IN_MARCH) == []
    (running,) = queries_drafts.drafts(IN_MARCH, [world.location.pk])
    assert (running.is_over, running.cents) == (False, 4_000)


def test_card_sales_count_and_fees_and_refunds_follow_the_terms(owner):
    world = arcade(owner, card_fees_by="shared", refunds_by="host")
    visit(world, "one", 1, 10_000)
    facts = {"machine": world.meters[0].machine, "location": world.location, "day": date(2026, 3, 5), "at": START}
    money = [("players", "cards", 2_000), ("cards", "fees", 100), ("bank", "refunds", 300)]
    moves = [CashMove(from_purse=start, to_purse=end, cents=cents, **facts) for start, end, cents in money]
    cash.append(moves=moves, by=owner, at=START)

    (draft,) = drafts(world)

    assert (draft.take, draft.cents) == (12_000, 4_760 - 300)  # 40 % of 119.00, less the refund
    assert draft.parts[0].earned.card_fees == 100


def test_terms_settled_at_each_visit_end_a_period_with_each(owner):
    world = arcade(owner, settled="visit", paid="cash")
    for days, cents in ((1, 1_000), (8, 2_000), (15, 500)):
        visit(world, f"day {days}", days, cents)

    found = drafts(world, IN_MARCH)

    assert [(one.stretch.until, one.cents) for one in found] == [
        (date(2026, 3, 3), 400),
        (date(2026, 3, 10), 800),
        (date(2026, 3, 17), 200),
    ]


def test_new_terms_within_a_month_are_lines_of_one_draft(owner):
    world = arcade(owner)
    agree(world, [TermLine("share", 5000)], starts_on=date(2026, 3, 16))
    visit(world, "one", 1, 10_000)
    visit(world, "two", 20, 10_000)

    (draft,) = drafts(world)

    assert [(row.days, row.cents) for row in draft.rows] == [
        ("1 to 15 March 2026", 4_000),
        ("16 to 31 March 2026", 5_000),
    ]


def test_many_weeks_that_wait_are_many_drafts(owner):
    world = arcade(owner, settled="week")
    for week in range(14):
        visit(world, f"week {week}", 1 + 7 * week, 1_000)

    assert [one.cents for one in drafts(world, IN_MAY + timedelta(days=60))] == [400] * 14


def test_terms_settled_otherwise_cut_the_period(owner):
    world = arcade(owner)
    agree(world, starts_on=date(2026, 3, 18), settled="week")
    visit(world, "one", 1, 10_000)
    visit(world, "two", 20, 5_000)

    found = drafts(world)

    assert [(one.spoken, one.cents) for one in found] == [("1 to 17 March 2026", 4_000), ("18 to 22 March 2026", 2_000)]


def test_cabinet_with_terms_of_its_own_has_its_own_line(owner):
    world = arcade(owner)
    machine = world.meters[1].machine
    agree(world, [TermLine("share", 1000)], machine=machine)
    visit(world, "one", 1, 10_000)
    visit(world, "two", 2, 10_000, cabinet=1)

    (draft,) = drafts(world)

    assert [(row.cabinet, row.base, row.cents) for row in draft.rows] == [
        ("", 10_000, 4_000),
        (machine.code, 10_000, 1_000),
    ]


def test_days_without_terms_are_listed_and_not_settled(owner):
    world = arcade(owner, starts_on=date(2026, 3, 10))
    visit(world, "before", 1, 7_000)
    visit(world, "after", 12, 10_000)

    (draft,) = drafts(world)
    (gap,) = queries_unagreed.unagreed(IN_APRIL, [world.location.pk])

    assert (draft.spoken, draft.cents) == ("10 to 31 March 2026", 4_000)
    assert (gap.on_days, gap.cents) == ("on 3 March 2026", 7_000)


def test_days_after_the_terms_ended_are_listed_and_not_settled(owner):
    world = arcade(owner)
    end(world, date(2026, 3, 15))
    visit(world, "within", 1, 10_000)
    visit(world, "after", 20, 3_000)

    (draft,) = drafts(world)

    assert (draft.spoken, draft.cents) == ("1 to 15 March 2026", 4_000)
    assert [one.cents for one in queries_unagreed.unagreed(IN_APRIL, [world.location.pk])] == [3_000]


def test_days_without_terms_alone_are_no_paper_and_stay_listed(owner):
    world = arcade(owner)
    visit(world, "within", 1)
    end(world, date(2026, 3, 15))
    visit(world, "after", 20, 3_000)
    agree(world, starts_on=date(2026, 5, 1))
    issue(world)

    assert drafts(world, IN_MAY) == []
    visit(world, "may", 65)
    in_june = IN_MAY + timedelta(days=31)
    issue(world, in_june)
    assert [(one.on_days, one.cents) for one in queries_unagreed.unagreed(in_june)] == [("on 22 March 2026", 3_000)]


def test_paper_on_what_came_late_names_the_day_without_terms(owner):
    world = arcade(owner)
    visit(world, "within", 1)
    end(world, date(2026, 3, 15))
    issue(world)
    visit(world, "late", 2, 2_500, received=IN_APRIL)
    visit(world, "after", 20, 3_000)

    paper = issue(world, IN_MAY)

    assert (paper.cents, paper.remarks) == (
        1_000,
        ["$30.00 came in on 22 March 2026 from cabinets without terms. It is not part of this."],
    )


def test_terms_for_one_cabinet_alone_leave_the_others_unsettled_and_named(owner):
    world = make_world(owner)
    agree(world, [TermLine("share", 1000)], machine=world.meters[1].machine)
    visit(world, "one", 1, 10_000)
    visit(world, "two", 2, 20_000, cabinet=1)

    (draft,) = drafts(world)

    assert (draft.cents, [one.cents for one in draft.without_terms]) == (2_000, [10_000])


def test_bag_that_nobody_counted_is_named_and_asked_about(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    uuid = sealed(world, "home", 5)

    (draft,) = drafts(world)
    assert [bag.number for bag in draft.missing] == ["S-home"]

    said = {"how": "amount", "cents": 5_000, "lines": {}, "note": "", "by": owner, "at": IN_MARCH}
    cash.count_bag(uuid=uuid4(), bag=Bag.objects.get(uuid=uuid), received_at=IN_MARCH, **said)
    (draft,) = drafts(world)
    assert (draft.missing, draft.cents) == ([], 6_000)


def test_money_taken_back_leaves_nothing_below_zero(owner):
    world = arcade(owner, refunds_by="shared")
    visit(world, "one", 1, 1_000)
    refund = {"from_purse": "bank", "to_purse": "refunds", "cents": 5_000, "location": world.location}
    cash.append(moves=[CashMove(**refund, day=date(2026, 3, 6), at=START)], by=owner, at=START)

    (draft,) = drafts(world)

    assert draft.cents == 0
    assert draft.rows[0].words.startswith("Nothing to share")


def test_fixed_sum_for_each_visit_counts_those_that_hold(owner):
    world = arcade(owner, terms=[TermLine("visit", cents=500)])
    visit(world, "one", 1)
    wrong = visit(world, "two", 2)
    amends = {"void": True, "replaces": str(wrong.pk), "reason": "never happened"}
    record(world, document(world, "void", days=2, **amends))

    assert drafts(world)[0].cents == 500


def test_location_without_anything_to_say_has_no_draft(owner):
    assert drafts(arcade(owner)) == []


def test_closed_location_is_settled_up_to_its_last_day(owner):
    world = arcade(owner, terms=[*FORTY, TermLine("minimum", cents=3_100, per="month")])
    world.location.closed_on = date(2026, 3, 10)
    world.location.save()

    (draft,) = drafts(world, IN_MAY)

    assert (draft.spoken, draft.cents) == ("1 to 10 March 2026", 1_000)  # 10 of 31 days of 31.00


def test_drafts_are_read_in_the_same_number_of_questions_for_many_locations(owner):
    world = arcade(owner)
    counts = []
    for name in ("Location A", "Location B", "Location C"):
        visit(world, name, 1, pay=100)
        with CaptureQueriesContext(connection) as seen:
            found = queries_drafts.due(IN_APRIL)
        counts.append((len(found), len(seen)))
        world.location = factories.LocationFactory(name=name, time_zone="America/Chicago")
        agree(world)

    assert counts == [(1, counts[0][1]), (2, counts[0][1]), (3, counts[0][1])]


def test_settled_month_is_followed_by_the_next(owner):
    world = arcade(owner)
    visit(world, "march", 1)
    visit(world, "april", 35, 5_000)
    issue(world)

    assert [(one.spoken, one.cents) for one in drafts(world, IN_MAY)] == [("April 2026", 2_000)]
