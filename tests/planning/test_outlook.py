"""What is kept of forecasts: after whatever somebody writes they are as if nothing had been kept."""

import re
import uuid
from datetime import timedelta

import numpy as np
import pytest
from django.contrib.admin.models import LogEntry
from django.core.cache import caches

from locations.models import Agreement
from locations.placements.queries import standing
from machines.cabinets.actions_meter_changes import Closing, change_price
from routeapp.kit import audit, clock
from routeapp.pages import queries_settling
from routeapp.planning import queries_outlook
from routeapp.planning.actions_due import note_to_do
from routeapp.planning.queries_forecast import ARRAYS, outlook_of
from routeapp.planning.queries_outlook import outlook
from routeapp.stock.actions_papers import count_place
from routeapp.stock.models import Place
from tests.earnings import story
from tests.planning.deeds import NOW, deeds

pytestmark = pytest.mark.django_db


@pytest.fixture
def route(owner):
    made = story.tell(owner)
    story.visit(made, made.cafe, story.utc(12, 10), story.entry(made, 3, reading=240, cents=900, found=2, loaded=40))
    return made


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
    Agreement.objects.update(settled="visit")
    addresses = ["/", "/cabinets/C3/", f"/locations/{route.cafe.pk}/", "/cabinets/C3/forecast/", "/due/"]

    def pages():
        texts = [owner_client.get(address).content.decode() for address in addresses]
        return [re.sub(r"\w{64}", "a token", text) for text in texts]

    for name, do in deeds(route):
        if name in ("visit", "visit corrected"):
            pages()
        do()
    kept = pages()
    caches["default"].clear()
    caches["forecasts"].delete_many([queries_outlook.KEY, queries_settling.KEY])
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

    def meanwhile():
        monkeypatch.undo()
        change_price(machine=machine, price_cents=200, closing=Closing(700), **who)
        return latest()

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
