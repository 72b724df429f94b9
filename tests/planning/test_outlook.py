"""What is kept of forecasts: after whatever somebody writes they are as if nothing had been kept."""

import re
import uuid
from datetime import timedelta

import numpy as np
import pytest
from django.contrib.admin.models import LogEntry
from django.core.cache import caches

from locations.placements.actions import end_placement, start_placement
from locations.placements.queries import standing
from locations.sites.actions import edit_location
from machines.cabinets.actions import change_cabinet, change_model
from machines.cabinets.actions_meter_changes import Closing, change_price, reset_meter
from machines.faults.actions import fix_fault, report_fault
from machines.labels.actions import label_for, report_from_label
from machines.models import Fault
from routeapp.cash.actions import count_bag, withdraw_count
from routeapp.kit import audit, clock
from routeapp.models import Bag, BagCount, Visit
from routeapp.planning import queries_outlook
from routeapp.planning.actions_due import note_to_do, promise
from routeapp.planning.queries_forecast import ARRAYS, outlook_of
from routeapp.planning.queries_outlook import outlook
from routeapp.stock.actions_papers import carry, count_place
from routeapp.stock.models import Place
from routeapp.visits import rules_document
from routeapp.visits.actions import record_visit
from tests import factories
from tests.earnings import story
from tests.visits.books import some_id

pytestmark = pytest.mark.django_db
NOW = story.utc(20, 12)


@pytest.fixture
def route(owner):
    made = story.tell(owner)
    story.visit(made, made.cafe, story.utc(12, 10), story.entry(made, 3, reading=240, cents=900, found=2, loaded=40))
    return made


def replaced(route, name, *entries, void=False):
    """A visit of the story corrected, or withdrawn."""
    old = Visit.objects.get(pk=some_id(name))
    document = {
        "id": str(uuid.uuid4()),
        "replaces": str(old.pk),
        "reason": "Wrong cabinet",
        "location": old.location_id,
        "arrived_at": old.at.isoformat(),
        "departed_at": old.departed_at.isoformat(),
        "load_from": route.store.pk,
        "void": void,
        "loose_bag": {"id": str(uuid.uuid4()), "number": "L again"},
        "entries": [{"id": str(uuid.uuid4()), **one} for one in entries],
    }
    record_visit(document=rules_document.read(document), photos={}, by=route.person, at=NOW)


def deeds(route):
    """What people do, one after the other: (a name, how)."""
    who = {"by": route.person, "at": NOW}
    facts = {**who, "received_at": NOW}
    one, two, three = (meter.machine for meter in route.meters)
    arcade, cafe, store, owl = route.arcade, route.cafe, route.store, route.owl
    inside = Place.objects.get(machine=three)
    spare = factories.MachineFactory(code="C4")
    label = label_for(machine=two, **who)

    def paper():
        return {"uuid": uuid.uuid4()}

    def placed(machine):
        return standing().get(machine=machine)

    def visit(name, location, day, *entries):
        return lambda: story.visit(route, location, story.utc(day, 9), *entries, name=name)

    report = {"text": "Claw hangs", "stops_play": True, "via": "crew"}
    stranger = {"address": "198.51.100.7", "text": "No light", "about": "fault", "at": NOW}
    seal = {"how": "weight", "cents": 9_000, "lines": {}, "note": ""}
    return [
        ("visit", visit("a", cafe, 19, story.entry(route, 3, reading=500, cents=26_000, found=9, loaded=30))),
        ("visit that came late", visit("b", arcade, 17, story.entry(route, 1, reading=620, cents=100, found=0))),
        ("sealed bag", visit("c", arcade, 19, story.entry(route, 2, cash=story.sealed("S-9")))),
        ("bag counted", lambda: count_bag(**paper(), bag=Bag.objects.get(number="S-9"), **seal, **facts)),
        ("count withdrawn", lambda: withdraw_count(count=BagCount.objects.live().latest("pk"), **who)),
        ("visit corrected", lambda: replaced(route, "b", story.entry(route, 2, reading=530, cents=50))),
        ("visit withdrawn", lambda: replaced(route, "a", void=True)),
        ("fault", lambda: report_fault(uuid=uuid.UUID(int=7), machine=one, **report, **facts)),
        ("fault fixed", lambda: fix_fault(fault=Fault.objects.get(uuid=uuid.UUID(int=7)), how="Oiled", **facts)),
        ("stranger's report", lambda: report_from_label(label=label, uuid=uuid.uuid4(), **stranger)),
        ("price", lambda: change_price(machine=three, price_cents=200, closing=Closing(700), **facts)),
        ("meter", lambda: reset_meter(meter=route.meters[0], closing=Closing(900), opening=0, **facts)),
        ("model", lambda: change_model(model=two.model, prize_capacity=90, **who)),
        ("cabinet", lambda: change_cabinet(machine=one, code="C1B", **who)),
        ("time zone", lambda: edit_location(location=cafe, name="Café", time_zone="Asia/Tokyo", **who)),
        ("count", lambda: count_place(place=inside, found=[(owl, 3)], reason="", **paper(), **facts)),
        ("prizes put in", lambda: carry(from_place=store, to_place=inside, lines=[(owl, 5)], **paper(), **facts)),
        ("prizes taken out", lambda: carry(from_place=inside, to_place=store, lines=[(owl, 2)], **paper(), **facts)),
        ("placed", lambda: start_placement(**paper(), machine=spare, location=cafe, **facts)),
        ("taken away", lambda: end_placement(placement=placed(two), **facts)),
        ("moved", lambda: start_placement(**paper(), machine=two, location=cafe, **facts)),
        ("to do", lambda: note_to_do(**paper(), location=cafe, errand="bring", text="Sign", **who)),
        ("promise", lambda: promise(location=cafe, every_days=9, **who)),
    ]


def assert_as_if_nothing_was_kept(name):
    kept = outlook(NOW)
    stands = standing().select_related("machine__model", "location").order_by("machine__code")
    fresh = outlook_of(stands, kept.learned, NOW)
    assert [one.placement for one in kept.histories] == [one.placement for one in fresh.histories], name
    for array in ARRAYS:
        np.testing.assert_allclose(getattr(kept, array), getattr(fresh, array), err_msg=name)
    np.testing.assert_allclose(kept.rates.mean, fresh.rates.mean, err_msg=name)
    for pk, one in fresh.forecasts.items():
        assert said(kept.forecasts[pk]) == said(one), name
        assert said(outlook(NOW, [pk]).forecasts[pk]) == said(one), name


def said(forecast):
    exact = {key: value for key, value in vars(forecast).items() if key != "history"}
    return {key: round(value, 6) if isinstance(value, float) else value for key, value in exact.items()}


def test_whatever_is_written_forecasts_are_as_if_nothing_was_kept(route):
    for name, do in deeds(route):
        outlook(NOW)
        do()
        assert_as_if_nothing_was_kept(name)


def test_pages_after_a_write_are_as_if_nothing_was_kept(route, owner_client, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: NOW)
    addresses = ["/", "/cabinets/C3/", f"/locations/{route.cafe.pk}/", "/cabinets/C3/forecast/", "/due/"]

    def pages():
        texts = [owner_client.get(address).content.decode() for address in addresses]
        return [re.sub(r"\w{64}", "a token", text) for text in texts]

    for name, do in deeds(route):
        if name in ("visit", "visit corrected"):
            pages()
        do()
    kept = pages()
    for one in caches.all():
        one.delete(queries_outlook.KEY) if one is caches["forecasts"] else one.clear()
    assert pages() == kept


def test_visit_has_its_own_cabinets_worked_out_anew_and_no_others(route, monkeypatch):
    outlook(NOW)
    story.visit(route, route.cafe, story.utc(19, 9), story.entry(route, 3, reading=500))
    asked = []
    monkeypatch.setattr(
        queries_outlook, "outlook_of", lambda some, *rest: asked.append(list(some)) or outlook_of(asked[-1], *rest)
    )
    outlook(NOW)
    note_to_do(uuid=uuid.uuid4(), location=route.cafe, errand="bring", text="Sign", by=route.person, at=NOW)
    outlook(NOW)

    assert [[one.machine.code for one in some] for some in asked] == [["C3"]]


def test_forecasts_of_long_ago_are_worked_out_anew(route):
    assert {*outlook(NOW).at} == {NOW}
    outlook(NOW + timedelta(minutes=3), [route.meters[0].machine_id])
    assert {*outlook(NOW + timedelta(minutes=4)).at} == {NOW}
    assert {*outlook(NOW + timedelta(minutes=6)).at} == {NOW + timedelta(minutes=6)}


def test_what_happens_while_a_forecast_begins_is_in_it_or_has_it_worked_out_anew(route, monkeypatch):
    latest, machine, who = audit.latest, route.meters[2].machine, {"by": route.person, "at": NOW, "received_at": NOW}

    def meanwhile(many):
        monkeypatch.undo()
        change_price(machine=machine, price_cents=200, closing=Closing(700), **who)
        return latest(many)

    monkeypatch.setattr(audit, "latest", meanwhile)
    outlook(NOW)
    assert_as_if_nothing_was_kept("price")


def test_line_with_a_lower_number_that_comes_late_is_heard(route):
    """As on PostgreSQL, where numbers are given before what they stand in is written for good."""
    before = audit.newest()
    note_to_do(uuid=uuid.uuid4(), location=route.cafe, errand="bring", text="Sign", by=route.person, at=NOW)
    LogEntry.objects.filter(pk=audit.newest()).update(id=before + 9)
    outlook(NOW)
    inside = Place.objects.get(machine=route.meters[2].machine)
    who = {"by": route.person, "at": NOW, "received_at": NOW}
    count_place(uuid=uuid.uuid4(), place=inside, found=[(route.owl, 3)], reason="", **who)
    LogEntry.objects.filter(change_message="counted the prizes in").update(id=before + 3)
    assert_as_if_nothing_was_kept("line that came late")
