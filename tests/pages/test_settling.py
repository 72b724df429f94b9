"""What is kept of settling with hosts: after whatever somebody writes it is as if nothing had been kept."""

import uuid
from datetime import date, timedelta

import pytest
from django.core.cache import caches

from locations.agreements.actions import add_agreement
from locations.agreements.rules_terms import TermLine
from locations.models import Agreement
from locations.taxes.actions import add_rule, tax_cabinet, tax_location
from locations.taxes.models import Jurisdiction
from machines.cabinets.actions_meter_changes import Closing, NewMeter, add_meter, replace_meter
from routeapp.cash.actions import count_bag
from routeapp.expenses.actions_refunds import refund
from routeapp.models import Bag, Delivery, Remittance, Settlement
from routeapp.pages import queries_settling
from routeapp.pages.queries_settling import settling
from routeapp.planning.actions_due import note_to_do
from routeapp.settlements import actions, queries_drafts
from routeapp.stock.actions_papers import Delivered, deliver, withdraw_delivery
from tests.cards import desk
from tests.earnings import story
from tests.planning.deeds import NOW, deeds, replaced

pytestmark = pytest.mark.django_db


@pytest.fixture
def route(owner):
    """Hosts are settled with at each visit; the arcade's bears tax, the café's prizes."""
    made = story.tell(owner)
    story.visit(made, made.cafe, story.utc(12, 10), story.entry(made, 3, reading=240, cents=9_000, found=2, loaded=40))
    story.visit(made, made.cafe, story.utc(14, 10), story.entry(made, 3, reading=260, cents=12_000, found=12))
    Agreement.objects.filter(location=made.arcade).update(settled="visit", tax_by="host")
    Agreement.objects.filter(location=made.cafe).update(settled="visit", prize_cost_by="host")
    return made


def money_deeds(route):
    """What people do about the money of hosts, one after the other: (a name, how)."""
    arcade, cafe, owl, store = route.arcade, route.cafe, route.owl, route.store
    one = route.meters[0].machine
    who = {"by": route.person, "at": NOW}
    facts = {**who, "received_at": NOW}
    rule = {"jurisdiction": "Illinois", "treatment": "amusement", "how": "rate", "millionths": 100_000}
    rule |= {"valid_from": date(2026, 1, 1), "source": "Invented", **who}
    dear = [Delivered(prize=owl, pieces=500, cost_cents=100_000)]
    crate = {"supplier": "Owl House", "paper": "77", "to_place": store, "lines": dear, "by": route.person}
    share = {"location": cafe, "starts_on": date(2026, 3, 11), "terms": [TermLine("share", 5000)], "settled": "visit"}
    share |= {"prize_cost_by": "host"}
    gift = {"cents": 500, "paid_from": "host", "zone": "UTC", "machine": route.meters[2].machine, "location": cafe}
    late = story.entry(route, 1, reading=150, cents=700)
    both = {"cash": story.sealed("S-12")}
    seal = {"how": "weight", "cents": 9_000, "lines": {}, "note": ""}

    def visit(name, location, day, *entries):
        return lambda: story.visit(route, location, story.utc(day, 8), *entries, name=name)

    def replace_prizes_meter():
        said = {"by": route.person, "received_at": NOW}
        new = NewMeter("prizes_out", 4, 0)
        meter = add_meter(machine=route.meters[2].machine, new=new, at=story.utc(14, 11), **said)
        replace_meter(meter=meter, closing=Closing(6), new=new, at=story.utc(14, 12), **said)

    def issue():
        draft = queries_drafts.due(NOW, [arcade.pk])[0]
        said = {"location": arcade, "since": draft.stretch.since, "seen_cents": draft.cents}
        actions.issue(uuid=uuid.uuid4(), **said, **who)

    def void():
        actions.void(settlement=Settlement.objects.get(withdrawn_at=None), reason="Wrong", **who)

    def pay():
        actions.pay(uuid=uuid.uuid4(), location=arcade, means="own", cents=100, day=NOW.date(), **who)

    return [
        ("tax rule", lambda: add_rule(**rule)),
        ("tax", lambda: tax_location(location=arcade, jurisdiction=Jurisdiction.objects.get(), starts_on=START, **who)),
        ("cabinet without tax", lambda: tax_cabinet(machine=one, treatment="goods", starts_on=START, **who)),
        ("delivery", lambda: deliver(uuid=uuid.uuid4(), **crate, at=story.utc(1, 9), received_at=NOW)),
        ("delivery withdrawn", lambda: withdraw_delivery(delivery=Delivery.objects.get(), **who)),
        ("terms", lambda: add_agreement(**share, **facts)),
        ("refund by the host", lambda: refund(uuid=uuid.uuid4(), **gift, **facts)),
        ("issued", issue),
        ("paid", pay),
        ("payment withdrawn", lambda: actions.withdraw_payment(payment=Remittance.objects.get(), **who)),
        ("late visit", visit("late", arcade, 2, late)),
        ("late visit withdrawn", lambda: replaced(route, "late", void=True)),
        ("void", void),
        ("dearer owls", lambda: deliver(uuid=uuid.uuid4(), **crate, at=story.utc(13, 9), received_at=NOW)),
        ("owls won before they came", visit("owls", arcade, 11, story.entry(route, 2, found=7))),
        ("bag of two", visit("two", arcade, 13, story.entry(route, 1, **both))),
        ("its other part", visit("other", cafe, 13, story.entry(route, 3, **both))),
        ("both counted", lambda: count_bag(uuid=uuid.uuid4(), bag=Bag.objects.get(number="S-12"), **seal, **facts)),
        ("other part withdrawn", lambda: replaced(route, "other", void=True)),
        ("wrong place", visit("place", arcade, 10, story.entry(route, 1, cents=3_000))),
        ("right place", lambda: replaced(route, "place", story.entry(route, 1, cents=3_000), location=cafe)),
        ("prizes meter read as it is replaced", replace_prizes_meter),
        ("reader", lambda: desk.fit(route.person, "R1", one, story.utc(1, 9))),
        ("card statement", lambda: desk.brought(route.person, "2026-03-05,R1,10.00,0.30,a1")),
    ]


START = date(2026, 3, 1)
# After these hosts get another sum; the others, of which the log tells as well, change nothing for them.
TOUCHED = {
    *("visit", "visit that came late", "sealed bag", "bag counted", "count withdrawn", "visit corrected"),
    *("visit withdrawn", "tax", "cabinet without tax", "delivery", "delivery withdrawn", "terms", "refund by the host"),
    *("issued", "paid", "payment withdrawn", "late visit", "late visit withdrawn", "void", "dearer owls"),
    *("owls won before they came", "bag of two", "its other part", "both counted", "other part withdrawn"),
    *("wrong place", "right place", "prizes meter read as it is replaced", "card statement"),
}


def figures(now=NOW):
    return {place: (one.drafts, one.owed) for place, one in settling(now).items()}


def test_whatever_is_written_it_is_as_if_nothing_was_kept(route):
    changed = set()
    for name, do in (*deeds(route), *money_deeds(route)):
        before = figures()
        do()
        kept = figures()
        caches["forecasts"].delete(queries_settling.KEY)
        assert kept == figures(), name
        changed |= {name} if kept != before else set()
    assert changed == TOUCHED


def test_visit_has_its_own_location_worked_out_anew_and_no_other(route, monkeypatch):
    Agreement.objects.update(prize_cost_by="operator")
    asked = []
    monkeypatch.setattr(
        queries_settling, "due", lambda now, ids: asked.append(set(ids)) or queries_drafts.due(now, ids)
    )
    figures()
    figures()
    story.visit(route, route.cafe, story.utc(19, 9), story.entry(route, 3, reading=500))
    figures()
    note_to_do(uuid=uuid.uuid4(), location=route.cafe, errand="bring", text="Sign", by=route.person, at=NOW)
    figures()

    assert asked == [{route.arcade.pk, route.cafe.pk}, {route.cafe.pk}]


def test_day_that_ends_at_a_location_has_it_worked_out_anew(route):
    """A week is over at midnight there; what is kept is not yet five minutes old."""
    Agreement.objects.filter(location=route.arcade).update(settled="week")
    midnight = story.utc(23, 5)  # in Chicago, where the café in Lisbon has Monday already
    before = figures(midnight - timedelta(minutes=1))
    kept = figures(midnight + timedelta(minutes=1))
    caches["forecasts"].delete(queries_settling.KEY)

    assert figures(midnight + timedelta(minutes=1)) == kept
    assert kept != before
