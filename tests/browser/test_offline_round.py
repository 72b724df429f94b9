"""A round taken along with one press, driven without a network, and what was noted there sent exactly once."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from routeapp.models import LoadTick, RoundPlan, Skip, Visit
from routeapp.stock.queries import contents
from tests.browser.conftest import sign_in
from tests.planning.cast import MONDAY, a_round, make_route

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def route(business, owner, route_hand):
    return make_route(owner, route_hand)


@pytest.fixture
def one(route):
    """The hand's round of a day to come that has a shift."""
    return a_round(route)


def at_rest(page):
    page.evaluate("navigator.serviceWorker.ready.then((one) => one.active.state)")
    page.wait_for_load_state("networkidle")


def take_along(page, one):
    page.goto(f"/rounds/{one.pk}/")
    if "/sign-in/" in page.url:
        sign_in(page, "tomas")
    page.click("text=Take it all along")
    expect(page.locator("[data-take-round] + span")).to_contain_text("The round is on this phone: 3 stops")
    at_rest(page)


def until_sent(page):
    waiting = "import('/static/offline/outbox.js').then(({ items }) => items()).then((all) => all.length)"
    for _ in range(150):
        if not page.evaluate(waiting):
            return
        page.wait_for_timeout(100)
    pytest.fail(page.inner_text("body"))


def test_round_is_driven_without_a_network_and_its_notes_go_once(open_phone, route, one):
    route.places[0].access_notes = "Ring twice"
    route.places[0].save()
    page = open_phone()
    take_along(page, one)
    page.context.set_offline(True)

    page.goto(f"/rounds/{one.pk}/")
    expect(page.locator("[data-round-name]")).to_have_text("Pier hall")
    expect(page.locator("[data-round-next] li").first).to_have_text("Ring twice")
    expect(page.locator("[data-round-next] a", has_text="Call Mika Ode")).to_have_attribute("href", "tel:+15550117")
    page.locator("[data-round-load] li", has_text="Plush owl").get_by_role("button").click()
    expect(page.locator("[data-round-load] li", has_text="Plush owl")).to_contain_text("Put back")
    page.fill("[data-round-next] [name=reason]", "Closed for a party")
    page.click("[data-round-next] form button")
    expect(page.locator("[data-round-name]")).to_have_text("Lamp arcade")
    expect(page.locator("[data-unsent]")).to_contain_text("2 notes not sent yet")
    page.click("text=Start the visit")
    page.wait_for_selector("form[data-ready]")
    page.fill("[name=note]", "Looked in")
    page.click("button:has-text('Save the visit')")
    page.wait_for_selector("h1:has-text('Saved on this phone')")
    page.click("text=Go on with the round")
    expect(page.locator("[data-round-name]")).to_have_text("Kite café")
    assert (Skip.objects.count(), LoadTick.objects.count(), Visit.objects.count()) == (0, 0, 0)

    page.errors.clear()  # the browser complains that it is offline
    page.context.set_offline(False)
    page.goto("/phone/")
    until_sent(page)
    assert Skip.objects.get().reason == "Closed for a party"
    assert LoadTick.objects.get().pieces == contents([route.van.pk])[route.van.pk][route.prizes[0].pk]
    assert Visit.objects.get().location == route.places[1]
    assert page.errors == []


@pytest.mark.parametrize(
    ("day", "which"), [(0, 0), (1, 1), (8, 1)], ids=["of the first", "of the second", "of neither"]
)
def test_visit_goes_on_with_the_round_of_its_day_or_else_the_newest(open_phone, route, day, which):
    rounds = [a_round(route, day=(MONDAY + timedelta(days=number)).date(), number=number + 1) for number in (0, 1)]
    page = open_phone()
    for each in rounds:
        take_along(page, each)
    page.clock.set_fixed_time(MONDAY + timedelta(days=day))
    page.context.set_offline(True)
    page.goto(f"/visits/new/{route.places[0].pk}/")
    page.wait_for_selector("form[data-ready]")
    page.fill("[name=note]", "Looked in")
    page.click("button:has-text('Save the visit')")

    expect(page.locator("main [data-go-on]")).to_have_attribute("href", f"/rounds/{rounds[which].pk}/")


def test_answer_lost_on_the_way_ticks_once(new_phone, line, route, one):
    phone = new_phone()
    page = phone.page
    page.goto(f"/rounds/{one.pk}/load/")
    sign_in(page, "tomas")
    page.wait_for_selector("body[data-ready]")
    with line.meets("lost", "/sync/road/"):
        page.locator("li", has_text="Plush owl").get_by_role("button").first.click()
        expect(page.locator("[data-lines] li", has_text="Plush owl")).to_contain_text("Kept on this phone")
    expect(page.locator("[data-unsent]")).to_contain_text("1 note not sent yet")
    page.click("text=Send now")
    until_sent(page)
    assert (LoadTick.objects.count(), line.answered["/sync/road/", 200]) == (1, 1)


def test_refused_note_says_why_and_stays_nowhere(open_phone, route, one):
    route.van.delete()
    page = open_phone()
    page.goto(f"/rounds/{one.pk}/load/")
    sign_in(page, "tomas")
    page.wait_for_selector("body[data-ready]")
    page.locator("li", has_text="Plush owl").get_by_role("button").first.click()
    expect(page.locator("[data-lines] li", has_text="Plush owl")).to_contain_text("Tomas has no van in the books.")
    page.errors.clear()  # the browser complains of the answer 422
    expect(page.locator("[data-unsent]")).to_be_hidden()


def test_signing_out_forgets_the_round(open_phone, one):
    page = open_phone()
    take_along(page, one)
    page.goto("/setup/")
    page.click("button:has-text('Sign out')")
    page.wait_for_url("**/sign-in/**")
    kept = page.evaluate("import('/static/offline/store.js').then(({ all }) => all('notes'))")
    assert [note["key"] for note in kept] == []


def test_stops_are_dragged_into_another_order(open_phone, route, one):
    page = open_phone()
    page.goto(f"/rounds/{one.pk}/change/")
    sign_in(page, "ines")
    rows = page.locator("[data-stop]")
    rows.nth(2).drag_to(rows.nth(0), target_position={"x": 20, "y": 4})
    page.wait_for_load_state("load")
    expect(page.locator("[data-stop] strong").first).to_contain_text("Kite café")
    plan = RoundPlan.objects.filter(round=one).first()
    assert [stop.location.name for stop in plan.stops.all()] == ["Kite café", "Pier hall", "Lamp arcade"]
