"""The same half-entered visit in two tabs, in one that is still loading, and in one that was gone back to."""

import re
import time

import pytest
from playwright.sync_api import expect

from routeapp.models import Visit
from tests.browser.conftest import sign_in
from tests.browser.test_offline_line import sign_out
from tests.browser.test_offline_visit import enter, open_visit, prefix, ready, save, take_along, unsent, world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["world"]


def test_what_two_tabs_typed_into_one_visit_is_saved_together(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    first, second = open_visit(phone.page, world), open_visit(phone.tab(), world)
    enter(first, world)
    expect(second.locator("[data-draft-note]")).to_contain_text("in another tab")
    assert second.locator("form[data-visit]").evaluate("one => one.inert")

    second.click("text=Go on here")
    ready(second)
    enter(second, world, "90", "4", cabinet=1)
    expect(first.locator("[data-draft-note]")).to_contain_text("in another tab")
    save(second)
    second.click("text=It is right, save it")  # the reading is lower than the last one
    second.wait_for_url(re.compile("/visits/.*-"))

    assert Visit.objects.get().entries.count() == 2


def test_tab_that_was_taken_over_saves_nothing_where_the_browser_cannot_lock_a_form(new_phone, line, world):
    phone = new_phone()
    phone.context.add_init_script("delete HTMLElement.prototype.inert")
    take_along(phone.page, world)
    first, second = open_visit(phone.page, world), open_visit(phone.tab(), world)
    enter(first, world)
    expect(second.locator("[data-draft-note]")).to_contain_text("in another tab")
    second.click("text=Go on here")
    ready(second)
    enter(second, world, "150", "5", cabinet=1)
    expect(first.locator("[data-draft-note]")).to_contain_text("in another tab")

    with line.meets("cut", "/sync/"):
        save(first)
        first.wait_for_timeout(500)
        assert unsent(first) == 0
    save(second)
    second.wait_for_url(re.compile("/visits/.*-"))

    assert Visit.objects.get().entries.count() == 2


def test_what_waits_to_be_written_when_another_tab_takes_over_is_not(open_phone, world):
    page = open_phone(service_workers="block")
    page.goto(f"/visits/new/{world.location.pk}/")
    sign_in(page, "tomas")
    ready(page)

    writes = page.evaluate("""async () => {
      const { Draft } = await import('/static/offline/draft.js');
      const { channel } = await import('/static/offline/outbox.js');
      const form = document.querySelector("form[data-visit]");
      const draft = new Draft(form, () => {});
      let writes = 0;
      const real = IDBObjectStore.prototype.put;
      IDBObjectStore.prototype.put = function (...told) { writes += 1; return real.apply(this, told); };
      const written = draft.keep();
      draft.keep();
      channel.dispatchEvent(new MessageEvent("message", { data: { draft: form.dataset.visit } }));
      await written;
      return writes;
    }""")

    assert writes == 1


def test_what_is_typed_while_the_page_loads_joins_what_was_half_entered(open_phone, world):
    page = open_phone(service_workers="block")
    page.goto(f"/visits/new/{world.location.pk}/")
    sign_in(page, "tomas")
    ready(page)
    enter(page, world)
    page.wait_for_function(
        "import('/static/offline/store.js').then(({ all }) => all('drafts')).then((one) => one.length)"
    )
    page.route("**/offline/draft.js", lambda route: (time.sleep(1), route.continue_()))  # a slow line
    page.goto(f"/visits/new/{world.location.pk}/", wait_until="commit")
    note = f"[name={prefix(world, 1)}-reading_{world.meters[1].pk}]"
    page.fill(note, "90")
    ready(page)

    assert page.input_value(note) == "90"
    assert page.input_value(f"[name={prefix(world)}-reading_{world.meters[0].pk}]") == "150"
    assert page.input_value(f"[name={prefix(world)}-cash-n1000]") == "5"


def test_going_back_after_saving_finds_an_empty_form(new_phone, line, world):
    page = new_phone().page
    take_along(page, world)
    open_visit(page, world)
    enter(page, world)
    save(page)
    page.wait_for_url(re.compile("/visits/.*-"))

    page.go_back()
    ready(page)
    assert page.input_value(f"[name={prefix(world)}-reading_{world.meters[0].pk}]") == ""
    save(page)

    expect(page.locator("[data-problems]")).to_contain_text("Nothing is entered yet")
    assert Visit.objects.count() == 1


def test_visit_of_somebody_who_signed_out_in_another_tab_says_what_it_waits_for(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    page, other = phone.page, phone.tab()
    open_visit(page, world)
    enter(page, world)
    sign_out(other)
    other.goto("/sign-in/")
    sign_in(other, "ines")

    save(page)

    expect(page.locator("main")).to_contain_text("it goes once you sign in again")
    assert (unsent(page), Visit.objects.count()) == (1, 0)
