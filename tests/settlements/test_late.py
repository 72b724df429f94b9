"""What came after a settlement is looked for where it belongs."""

import sys
from collections import Counter
from datetime import date, timedelta
from uuid import uuid4

import pytest

from locations.agreements.actions import reopen_location
from locations.agreements.rules_terms import TermLine
from routeapp.cash.models import CashMove
from routeapp.kit.errors import Refused
from routeapp.kit.prepared import insert_plain
from routeapp.models import Settlement
from routeapp.settlements import actions, queries_late
from tests import factories
from tests.settlements.world import IN_APRIL, IN_MAY, arcade, drafts, issue, visit

pytestmark = pytest.mark.django_db
LATER = IN_APRIL + timedelta(days=2)


def test_late_visits_of_twice_as_many_locations_are_twice_the_work(owner):
    papers, issued = [], {"received_at": IN_APRIL, "moves_until": 0}
    for number in range(8):
        location = factories.LocationFactory(name=f"Pier {number}")
        days = [date(2026, month, 1) for month in range(1, 13)]
        papers += [Settlement(location=location, since=day, until=day, **issued) for day in days]
        facts = {"from_purse": "players", "to_purse": "bags", "cents": 1, "at": LATER, "received_at": LATER}
        facts |= {"by_id": owner.pk, "location_id": location.pk}
        insert_plain(CashMove, [facts | {"source": uuid4(), "entry": uuid4(), "day": day} for day in days])

    def calls(settlements):
        seen = Counter()
        sys.setprofile(lambda frame, event, arg: seen.update([event]))
        try:
            queries_late.late_visits(settlements)
        finally:
            sys.setprofile(None)
        return seen["call"]

    calls(papers)  # what is worked out once
    assert calls(papers) < 2.2 * calls(papers[:48])


def test_paper_that_another_adjusts_is_void_only_after_that_one(owner):
    world = arcade(owner)
    visit(world, "one", 1)
    first = issue(world)
    visit(world, "late", 9, 2_500, received=LATER)
    second = issue(world, IN_MAY)

    said = {"reason": "Wrong", "by": owner, "at": IN_MAY}
    with pytest.raises(Refused, match="Settlement 2 adjusts this one. Make that one void first."):
        actions.void(settlement=first, **said)
    actions.void(settlement=second, **said)
    actions.void(settlement=first, **said)
    assert Settlement.objects.filter(withdrawn_at=None).count() == 0


def test_location_opened_again_owes_no_rent_for_the_days_it_was_closed(owner):
    world = arcade(owner, terms=[TermLine("rent", cents=3_100, per="month")])
    issue(world)
    world.location.closed_on = date(2026, 3, 10)
    world.location.save()
    assert issue(world, IN_MAY).cents == -2_100
    june, july = IN_MAY + timedelta(days=22), IN_MAY + timedelta(days=60)

    reopen_location(location=world.location, by=owner, at=june)
    reopen_location(location=world.location, by=owner, at=july)  # it is open already

    (draft,) = drafts(world, july)
    assert (draft.spoken, draft.cents, draft.adjustments) == ("11 to 30 June 2026", 2_067, ())  # 20 of 30 days
