"""A phone whose clock is off: it is noticed, and only what that clock told is put right."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from routeapp.kit import clock
from routeapp.models import Visit
from tests.browser.test_offline_line import visit_offline
from tests.browser.test_offline_visit import enter, open_visit, ready, save, take_along, until_sent, world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["world"]

# A clock that is off by {0} milliseconds.
CLOCK = """
Date.now = ((real) => () => real() + {0})(Date.now);
Date = class extends Date {{ constructor(...told) {{ told.length ? super(...told) : super(Date.now()); }} }};
"""


def test_clock_three_hours_off_is_noticed_and_the_person_decides(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    phone.context.add_init_script(CLOCK.format(3 * 3_600_000))
    page = visit_offline(phone, line, world)
    page.goto("/phone/")
    expect(page.locator("[data-clock]")).to_contain_text("clock is 3 h fast")
    assert Visit.objects.count() == 0

    page.click("text=Yes, put them right and send")
    until_sent(page)

    visit = Visit.objects.get()
    assert abs(visit.received_at - visit.departed_at) < timedelta(minutes=3)


def test_time_told_by_the_server_stays_when_the_clock_is_put_right(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    phone.context.add_init_script(CLOCK.format(3 * 3_600_000))
    page = phone.page
    open_visit(page, world)
    enter(page, world)
    save(page)
    expect(page.locator("[data-place]")).to_have_text("Lantern Arcade")
    expect(page.locator("[data-clock]")).to_contain_text("clock is 3 h fast", timeout=3000)

    page.click("text=Yes, put them right and send")
    until_sent(page)

    visit = Visit.objects.get()
    assert [abs(visit.received_at - at) < timedelta(minutes=3) for at in (visit.at, visit.departed_at)] == [True, True]


@pytest.mark.parametrize("how", ["typed on", "opened from what waits"])
def test_time_told_by_the_server_stays_also_when_the_visit_is_brought_back(new_phone, line, world, monkeypatch, how):
    phone = new_phone()
    take_along(phone.page, world)
    phone.context.add_init_script(CLOCK.format(3 * 3_600_000))
    page = phone.page
    there = clock.now().replace(second=0, microsecond=0) - timedelta(minutes=20)
    with monkeypatch.context() as patched:
        patched.setattr(clock, "now", lambda: there)
        open_visit(page, world)
    enter(page, world)
    if how == "typed on":
        page.goto(f"/visits/new/{world.location.pk}/")
    else:
        with line.meets("cut", "/sync/"):
            save(page)
            expect(page.locator("[data-place]")).to_have_text("Lantern Arcade")
            page.goto("/phone/")
            page.locator("[data-outbox]").get_by_role("button", name="Open it").click()
            page.wait_for_url("**/visits/new/**")
    ready(page)
    save(page)
    expect(page.locator("[data-clock]")).to_contain_text("clock is 3 h fast")

    page.click("text=Yes, put them right and send")
    until_sent(page)

    assert Visit.objects.get().at == there
