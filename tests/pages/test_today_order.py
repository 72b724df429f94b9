"""Today says which prizes run out before more can come, to whoever may order them."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from routeapp.kit import clock
from routeapp.planning.actions_order import order_prizes, set_terms, withdraw_order
from routeapp.planning.queries_running_out import running_out
from tests.earnings import story

pytestmark = pytest.mark.django_db

NOW = story.utc(20, 12)


@pytest.fixture
def route(owner, monkeypatch):
    """C3 gives owls that take longer to come than the 372 in the store last."""
    made = story.make_route(owner)
    for day, found in ((1, None), (6, 40), (12, 36), (18, 36)):
        one = story.entry(made, 3, reading=100 + 40 * (day - 1), cents=100, found=found, loaded=60 - (found or 0))
        story.visit(made, made.cafe, story.utc(day, 10), one)
    made.owl.supplier = "Moonrake"
    made.owl.save()
    set_terms(supplier="Moonrake", lead_days=300, every_days=14, by=owner, at=NOW)
    monkeypatch.setattr(clock, "now", lambda: NOW)
    return made


def test_prizes_that_run_out_stand_on_today(route, client, owner, route_hand, bookkeeper):
    said, link = "A prize runs out before more can come", f'href="{reverse("reorder")}">What to order'
    for person, told in ((owner, True), (route_hand, True), (bookkeeper, False)):
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        page = client.get("/").text
        assert (said in page, f"<p>{route.owl.name}.</p>" in page, link in page) == (told, told, told)


def test_what_was_ordered_in_time_runs_out_no_more(route, owner):
    assert running_out(NOW) == [route.owl.name]
    order = order_prizes(uuid=uuid.uuid4(), supplier="Moonrake", lines=[(route.owl, 5000)], by=owner, at=NOW)
    assert running_out(NOW) == []
    withdraw_order(order=order, by=owner, at=NOW)
    assert running_out(NOW) == [route.owl.name]


def test_it_is_worked_out_once_an_hour_whoever_visits(route, owner, django_assert_max_num_queries):
    running_out(NOW)
    story.visit(route, route.cafe, NOW, story.entry(route, 3, reading=900, cents=100), name="another")
    with django_assert_max_num_queries(2):  # the newest lines of the log, and what they are about
        running_out(NOW + timedelta(minutes=59))
    with pytest.raises(pytest.fail.Exception), django_assert_max_num_queries(10):
        running_out(NOW + timedelta(minutes=61))
