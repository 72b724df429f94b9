"""An issued settlement stays as it is; what comes later stands on the next one, and a void one is issued anew."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from locations.agreements.rules_terms import TermLine
from locations.taxes import actions as taxes
from routeapp.cash import actions as cash
from routeapp.cash.models import Bag, CashMove
from routeapp.kit.errors import Refused
from routeapp.models import Business, Settlement
from routeapp.settlements import actions, queries, queries_drafts
from routeapp.stock import actions as stock
from routeapp.stock.models import PlaceKind
from tests import factories
from tests.settlements.world import IN_APRIL, IN_MARCH, IN_MAY, agree, arcade, drafts, end, issue, sealed, visit
from tests.visits.books import START, entry

pytestmark = pytest.mark.django_db
LATER = IN_APRIL + timedelta(days=2)


def frozen(settlement):
    lines = [(line.words, line.base_cents, line.rate, line.cents) for line in settlement.lines.order_by("place")]
    return settlement.number, settlement.cents, settlement.carried_cents, settlement.paid_cents, lines


def test_issuing_freezes_the_lines_and_gives_a_number(owner):
    world = arcade(owner)
    visit(world, "one", 1, 12_345)

    made = issue(world)

    assert frozen(made) == (1, 4_938, 0, 0, [("40 % of the take", 12_345, "2/5", 4_938)])
    assert drafts(world) == []
    assert queries.owed_cents([world.location.pk]) == {world.location.pk: 4_938}


def test_cash_paid_at_visits_is_taken_off(owner):
    world = arcade(owner)
    visit(world, "one", 1, pay=1_500)

    made = issue(world)

    assert (made.cents, made.paid_cents, made.closing_cents) == (4_000, 1_500, 2_500)
    assert queries.owed_cents([world.location.pk]) == {world.location.pk: 2_500}


def test_next_paper_carries_on_what_is_open(owner):
    world = arcade(owner)
    visit(world, "march", 1)
    visit(world, "april", 35, 5_000, pay=3_000)
    march = issue(world)
    april = issue(world, IN_MAY)

    assert (march.carried_cents, march.paid_cents, march.closing_cents) == (0, 3_000, 1_000)
    assert (april.carried_cents, april.paid_cents, april.closing_cents) == (1_000, 0, 3_000)


def test_papers_issued_out_of_order_say_what_was_open_then(owner):
    world = arcade(owner)
    visit(world, "march", 1, pay=1_500)
    visit(world, "april", 35, 5_000, pay=3_000)

    april = issue(world, IN_MAY, since=date(2026, 4, 1))
    march = issue(world, IN_MAY)

    assert (april.carried_cents, april.paid_cents, april.closing_cents) == (0, 4_500, -2_500)
    assert (march.carried_cents, march.paid_cents, march.closing_cents) == (-2_500, 0, 1_500)
    assert queries.owed_cents([world.location.pk]) == {world.location.pk: 1_500}


def test_payment_in_days_without_a_paper_stands_on_the_next(owner):
    world = arcade(owner)
    visit(world, "march", 1, None, pay=1_500)
    visit(world, "april", 35)

    (draft,) = drafts(world, IN_MAY)
    april = issue(world, IN_MAY)

    assert (draft.carried, draft.paid) == (0, 1_500)
    assert (april.carried_cents, april.paid_cents, april.closing_cents) == (0, 1_500, 2_500)


def test_same_issue_twice_is_once(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    uuid = uuid4()

    assert issue(world, uuid=uuid) == actions.issue(
        uuid=uuid, location=world.location, since=date(2026, 3, 1), seen_cents=4_000, by=owner, at=IN_APRIL
    )
    with pytest.raises(Refused, match=r"Settlement 1 was issued for these days already\. Nothing was issued twice\."):
        actions.issue(
            uuid=uuid4(), location=world.location, since=date(2026, 3, 1), seen_cents=4_000, by=owner, at=IN_APRIL
        )
    assert Settlement.objects.count() == 1


@pytest.mark.parametrize(
    ("said", "refusal"),
    [
        ({"seen_cents": 1}, "Something came in meanwhile: it is $40.00 now, not $0.01. Look again; "
         "nothing was issued."),
        ({"since": date(2026, 3, 7)}, "No settlement of this location starts on that day. Its terms may have changed; "
         "look at the drafts again."),
        ({"at": IN_MARCH}, "These days are not over. They can be settled after 20 March 2026."),
    ],
)  # fmt: skip
def test_issue_is_refused_in_words(owner, said, refusal):
    world = arcade(owner)
    visit(world, "one", 1)
    asked = {"uuid": uuid4(), "location": world.location, "since": date(2026, 3, 1), "seen_cents": 4_000}

    with pytest.raises(Refused) as problem:
        actions.issue(**{**asked, "by": owner, "at": IN_APRIL, **said})

    assert problem.value.message == refusal
    assert Settlement.objects.count() == 0


def test_uncounted_bag_is_asked_about_and_follows_when_it_may_wait(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    bag = Bag.objects.get(uuid=sealed(world, "home", 5))
    with pytest.raises(Refused, match="not counted yet"):
        issue(world)

    made = issue(world, although=True)
    said = {"how": "amount", "cents": 5_000, "lines": {}, "note": "", "by": owner, "at": LATER, "received_at": LATER}
    cash.count_bag(uuid=uuid4(), bag=bag, **said)

    assert made.remarks == [
        "Bag S-home of 7 March was not counted yet. What is in it follows with the next settlement."
    ]
    (draft,) = drafts(world, IN_MAY)
    assert draft.adjustments[0].words == (
        "Settlement 1, March 2026: $60.00 instead of $40.00: visit of 7 March, whose money was counted later"
    )
    assert draft.cents == 2_000


def test_late_visit_adjusts_the_next_settlement_and_is_named(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    first = issue(world)
    before = frozen(first)
    late = visit(world, "late", 9, 2_500, received=LATER)

    (draft,) = drafts(world, IN_MAY)
    made = issue(world, IN_MAY)

    (line,) = made.lines.filter(kind="adjustment")
    assert (line.adjusts, line.cents, draft.cents) == (first, 1_000, 1_000)
    assert line.words == "Settlement 1, March 2026: $50.00 instead of $40.00: visit of 11 March, received 22 April 2026"
    assert line.late == [[str(late.pk), "visit of 11 March, received 22 April 2026"]]
    assert frozen(Settlement.objects.get(pk=first.pk)) == before
    assert [one for one in queries_drafts.drafts(IN_MAY, [world.location.pk]) if one.adjustments] == []


def test_late_visits_of_two_papers_are_asked_for_once(owner):
    world = arcade(owner)
    for name, day in (("march", 1), ("april", 35)):
        visit(world, name, day)
        issue(world, IN_APRIL if name == "march" else IN_MAY)
    later = IN_MAY + timedelta(days=2)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            found = queries_drafts.drafts(later, [world.location.pk])[0].adjustments
        return [len(one.late) for one in found], len(queries)

    visit(world, "late", 9, 2_500, received=later)
    assert (one := asked())[0] == [1]
    visit(world, "late too", 39, 2_500, received=later)
    assert asked() == ([1, 1], one[1])


def test_late_correction_and_withdrawal_adjust_the_next_settlement(owner):
    world = arcade(owner)
    wrong = visit(world, "one", 1, 10_000)
    visit(world, "two", 2, 1_000)
    issue(world)
    amends = {"replaces": str(wrong.pk), "reason": "counted wrong"}
    right = visit(world, "right", 1, 9_000, received=LATER, **amends)

    (draft,) = drafts(world, IN_MAY)
    assert draft.cents == -400
    assert draft.adjustments[0].late == [(right.pk, "visit of 3 March, corrected 22 April 2026")]

    amends = {"replaces": str(right.pk), "reason": "was elsewhere", "void": True}
    visit(world, "void", 1, None, received=LATER, **amends)
    assert drafts(world, IN_MAY)[0].cents == -4_000


def test_terms_changed_for_days_that_were_settled_adjust_the_next(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    issue(world)
    agree(world, [TermLine("share", 5000)], starts_on=date(2026, 3, 2), received_at=LATER)

    (draft,) = drafts(world, IN_MAY)

    assert [(one.cents, one.late) for one in draft.adjustments] == [(1_000, [])]
    assert "the terms or taxes of these days, or what prizes cost, were changed" in draft.adjustments[0].words


def test_tax_rule_told_late_adjusts_the_next_and_its_withdrawal_too(owner):
    world = arcade(owner, tax_by="shared")
    visit(world, "one", 1)
    issue(world)
    figures = {"treatment": "amusement", "how": "divisor", "millionths": 1_250_000, "source": "county order 12"}
    who = {"by": owner, "at": LATER}
    rule = taxes.add_rule(jurisdiction="Port County", **figures, valid_from=date(2026, 1, 1), **who)
    assert drafts(world, IN_MAY) == []  # nobody said yet that the location lies there

    taxes.tax_location(location=world.location, jurisdiction=rule.jurisdiction, starts_on=date(2026, 1, 1), **who)
    assert issue(world, IN_MAY).cents == -800  # 40 % of the 20.00 inside 100.00

    taxes.withdraw_rule(rule=rule, by=owner, at=IN_MAY)
    assert drafts(world, IN_MAY + timedelta(days=31))[0].cents == 800


def test_card_sale_told_late_is_called_so(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    issue(world)
    facts = {"machine": world.meters[0].machine, "location": world.location, "day": date(2026, 3, 5), "at": START}
    cash.append(moves=[CashMove(from_purse="players", to_purse="cards", cents=500, **facts)], by=owner, at=LATER)

    (line,) = issue(world, IN_MAY).lines.filter(kind="adjustment")

    why = "card sales, card fees or refunds of these days were told later"
    assert (line.words, line.cents) == (f"Settlement 1, March 2026: $42.00 instead of $40.00: {why}", 200)


def test_rent_ends_with_the_location_also_where_that_is_told_late(owner):
    world = arcade(owner, terms=[TermLine("rent", cents=3_100, per="month")])
    issue(world)
    world.location.closed_on = date(2026, 3, 10)
    world.location.save()

    paper = issue(world, IN_MAY)

    assert paper.cents == -2_100
    assert [one.words for one in paper.lines.all()] == [
        "Settlement 1, March 2026: $10.00 instead of $31.00: the location was closed on 10 March 2026"
    ]
    assert drafts(world, IN_MAY) == []


def test_price_of_prizes_told_late_adjusts_the_next(owner):
    world = arcade(owner, prize_cost_by="host")
    visit(world, "one", 0, None, entries=[entry(world, "one", cents=10_000, loaded={0: 50})])
    visit(world, "two", 1, None, entries=[entry(world, "two", found={0: 40})])
    assert issue(world).cents == 4_000 - 800  # ten owls at 0.80
    ends = {"from_place": stock.beyond(PlaceKind.SUPPLIER), "to_place": world.store}
    dear = {"prize": world.prizes[0], "quantity": 500, "cost_cents": 60_000, "at": START - timedelta(days=20)}

    stock.move(**dear, **ends, by=owner, received_at=LATER)

    assert drafts(world, IN_MAY)[0].cents == -200  # at 1.00


def test_late_visits_are_noticed_at_locations_settled_last_long_ago_and_lately(owner):
    world, autumn = arcade(owner), IN_MAY + timedelta(days=150)
    visit(world, "one", 1)
    end(world, date(2026, 3, 31))
    issue(world)
    old, world.location = world.location, factories.LocationFactory(name="Pier", time_zone="America/Chicago")
    agree(world, starts_on=date(2026, 9, 1))
    visit(world, "two", 190)
    issue(world, autumn)

    visit(world, "late two", 191, 500, received=autumn + timedelta(days=1))
    world.location, new = old, world.location
    visit(world, "late one", 2, 2_500, received=autumn + timedelta(days=1))

    due = queries_drafts.due(autumn + timedelta(days=40))
    assert {one.location: [each.cents for each in one.adjustments] for one in due} == {old: [1_000], new: [200]}


@pytest.mark.parametrize("how", ["closed", "terms over"])
def test_late_visit_where_no_period_follows_stands_on_one_more_paper(owner, how):
    world = arcade(owner)
    visit(world, "one", 1)
    if how == "closed":
        world.location.closed_on = date(2026, 3, 31)
        world.location.save()
    else:
        end(world, date(2026, 3, 31))
    issue(world)
    assert drafts(world, IN_MAY) == []
    visit(world, "late", 9, 2_500, received=LATER)

    assert issue(world, IN_MAY).cents == 1_000
    assert drafts(world, IN_MAY) == []


def test_void_settlement_is_a_draft_again_and_issued_under_a_new_number(owner):
    world = arcade(owner)
    visit(world, "one", 1, pay=1_000)
    first = issue(world)
    actions.void(settlement=first, reason="Wrong name on it", by=owner, at=LATER)
    actions.void(settlement=first, reason="Sent twice", by=owner, at=LATER)

    assert queries.owed_cents([world.location.pk]) == {world.location.pk: -1_000}
    again = issue(world)

    first.refresh_from_db()
    assert (first.number, first.reason, first.withdrawn_at) == (1, "Wrong name on it", LATER)
    assert (again.number, again.replaces, again.closing_cents) == (2, first, 3_000)


def test_void_needs_a_reason(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    with pytest.raises(Refused, match="Say why it is void"):
        actions.void(settlement=issue(world), reason="  ", by=owner, at=LATER)


def test_adjustment_on_a_void_settlement_is_drafted_again(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    issue(world)
    visit(world, "late", 9, 2_500, received=LATER)
    visit(world, "april", 35, 1_000)
    second = issue(world, IN_MAY)
    visit(world, "may", 65, 1_000)
    june = IN_MAY + timedelta(days=31)
    issue(world, june)

    actions.void(settlement=second, reason="Wrong", by=owner, at=june)

    (draft,) = drafts(world, june)
    assert (draft.spoken, draft.cents, len(draft.adjustments)) == ("April 2026", 1_400, 1)


def test_numbers_have_no_gaps_over_locations(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    visit(world, "two", 35)
    numbers = [issue(world).number]
    with pytest.raises(Refused):
        issue(world, IN_MAY, seen_cents=0)
    numbers.append(issue(world, IN_MAY).number)

    assert numbers == [1, 2]


def test_settled_before_takes_what_was_paid_for_what_was_owed(owner):
    world = arcade(owner)
    visit(world, "one", 1, pay=1_000)
    visit(world, "april", 35, 5_000)

    assert actions.settled_before(until=date(2026, 3, 31), by=owner, at=IN_APRIL) == 1

    assert queries.owed_cents([world.location.pk]) == {world.location.pk: 0}
    visit(world, "late", 9, 2_500, received=LATER)
    assert [(one.spoken, one.cents) for one in drafts(world, IN_MAY)] == [("April 2026", 2_000)]
    assert issue(world, IN_MAY).number == 1
    with pytest.raises(Refused, match="issued already"):
        actions.settled_before(until=date(2026, 4, 30), by=owner, at=IN_MAY)


def test_settlements_in_another_currency_are_refused(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    visit(world, "two", 35)
    issue(world)
    Business.objects.update_or_create(pk=1, defaults={"name": "Lantern Rounds", "currency": "EUR"})

    with pytest.raises(Refused, match="Settlement 1 is in USD and the business counts in EUR"):
        issue(world, IN_MAY)


def test_oldest_paper_is_paid_first(owner):
    world = arcade(owner)
    visit(world, "march", 1)
    visit(world, "april", 35, 5_000, pay=4_500)
    issue(world)
    issue(world, IN_MAY)

    rows = queries.settlements().order_by("number")
    assert [(one.open_cents, queries.state_of(one)[0]) for one in rows] == [(0, "paid"), (1_500, "partly paid")]
