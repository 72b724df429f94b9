"""Around a visit that waits: who may send it, what the server thinks of it, and what else can go wrong meanwhile."""

import gzip
import json
import re
import time
from datetime import datetime
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from django.contrib.staticfiles import finders
from django.test import Client
from playwright.sync_api import expect

from routeapp.models import Visit
from routeapp.visits.views_phone import ASSETS
from tests.browser.conftest import sign_in
from tests.browser.test_offline_visit import (
    at_rest,
    enter,
    open_visit,
    prefix,
    ready,
    save,
    take_along,
    unsent,
    until_sent,
    world,
)
from tests.visits.books import document, entry, record

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["world"]

COUNT_TAPS = """
addEventListener('click', (event) => {
  if (event.isTrusted) localStorage.taps = 1 + Number(localStorage.taps ?? 0);
}, true);
"""


def visit_offline(phone, line, world, reading="150", notes="5"):
    page = phone.page
    with line.meets("cut"):
        open_visit(page, world)
        enter(page, world, reading, notes)
        save(page)
        expect(page.locator("h1:visible")).to_have_text("Saved on this phone")
    return page


def sign_out(page):
    page.goto("/setup/")
    page.click("button:has-text('Sign out')")
    page.wait_for_url("**/sign-in/**")


def test_three_people_at_one_phone_each_send_their_own(new_phone, line, world, bookkeeper):
    phone = new_phone()
    page = phone.page
    with line.meets("cut", "/sync/visits/"):
        for number, username in enumerate(["tomas", "ines"]):
            page.goto("/sign-in/")
            sign_in(page, username)
            open_visit(page, world)
            enter(page, world, str(120 + number), "2")
            save(page)
            expect(page.locator("h1:visible")).to_have_text("Saved on this phone")
            sign_out(page)
    sign_in(page, "greta")
    expect(page.locator("[data-lines]")).to_contain_text("2 visits of Tomas and Ines wait until")
    page.click("text=Send now")
    assert (unsent(page), Visit.objects.count()) == (2, 0)
    for left, username in ((1, "ines"), (0, "tomas")):
        sign_out(page)
        sign_in(page, username)
        until_sent(page, left)

    assert sorted(Visit.objects.values_list("by__username", flat=True)) == ["ines", "tomas"]


def test_signing_out_clears_what_was_taken_along_and_keeps_what_is_not_sent(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    with line.meets("cut", "/sync/visits/"):
        visit_offline(phone, line, world)
        sign_out(phone.page)
        expect(phone.page.locator("[data-unsent]")).to_contain_text("1 visit not sent yet")
    stops = phone.page.evaluate("import('/static/offline/store.js').then(({ all }) => all('stops'))")
    assert (stops, unsent(phone.page)) == ([], 1)


def test_session_that_expired_asks_for_a_sign_in_and_then_sends(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    Session.objects.all().delete()
    page = visit_offline(phone, line, world)

    page.goto("/phone/")
    expect(page.locator("[data-unsent]")).to_contain_text("Sign in again")
    assert Visit.objects.count() == 0
    page.goto("/sign-in/")
    sign_in(page, "tomas")
    until_sent(page)

    assert Visit.objects.count() == 1


def test_lost_csrf_cookie_does_not_matter(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    page = visit_offline(phone, line, world)
    phone.context.clear_cookies(name="csrftoken")

    page.goto("/phone/")
    until_sent(page)

    assert line.sent_visits() == {201: 1}


def test_refused_visit_stays_on_the_phone_is_mended_and_sent(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    world.meters[0].digits = 4
    world.meters[0].save()
    page = visit_offline(phone, line, world, reading="15000", notes="1490")
    page.goto("/phone/")
    expect(page.locator("[data-outbox]")).to_contain_text("has only 4 digits")

    page.locator("[data-outbox]").get_by_role("button", name="Open it").click()
    ready(page)
    page.fill(f"[name={prefix(world)}-reading_{world.meters[0].pk}]", "150")
    page.fill(f"[name={prefix(world)}-cash-n1000]", "5")
    save(page)
    page.wait_for_url(re.compile("/visits/.*-"))

    assert page.inner_text("h1") == "The money is right"


def waiting(page):
    """The documents that wait on the phone."""
    return page.evaluate("import('/static/offline/store.js').then(({ all }) => all('outbox'))")


def open_it(page):
    page.locator("[data-outbox]").get_by_role("button", name="Open it").click()
    ready(page)


def test_another_visit_under_its_id_makes_it_one_of_its_own(new_phone, line, world, owner):
    phone = new_phone()
    take_along(phone.page, world)
    page = visit_offline(phone, line, world)
    record(
        world,
        document(world, "other", entries=[entry(world, "other", 1, reading=120)]) | {"id": waiting(page)[0]["id"]},
    )
    page.goto("/phone/")
    expect(page.locator("[data-outbox]")).to_contain_text("another visit has its id")

    open_it(page)
    save(page)
    page.wait_for_url(re.compile("/visits/.*-"))

    assert (line.sent_visits()[409], Visit.objects.count(), unsent(page)) == (1, 2, 0)


def test_visit_too_large_to_be_sent_stays_on_the_phone_and_goes_when_it_is_smaller(new_phone, line, world, settings):
    phone = new_phone()
    take_along(phone.page, world)
    page = visit_offline(phone, line, world)
    settings.MAX_REQUEST_BYTES, allowed = 600, settings.MAX_REQUEST_BYTES
    page.goto("/phone/")
    expect(page.locator("[data-outbox]")).to_contain_text("too large: open it and leave out photos")
    assert (Visit.objects.count(), unsent(page)) == (0, 1)

    settings.MAX_REQUEST_BYTES = allowed
    open_it(page)
    save(page)
    page.wait_for_url(re.compile("/visits/.*-"))

    assert (line.sent_visits(), unsent(page)) == ({413: 1, 201: 1}, 0)


def test_cabinet_never_seen_on_this_phone_is_written_down_and_finished_later(new_phone, line, world):
    phone = new_phone()
    page = phone.page
    page.goto("/sign-in/")
    sign_in(page, "tomas")
    at_rest(page)
    with line.meets("cut"):
        page.goto(f"/m/{world.meters[0].label.code}/")
        expect(page.locator("h1:visible")).to_have_text("A cabinet this phone does not know")
        page.fill("#plays", "150")
        page.fill("#sum", "50")
        page.click("text=Keep it on this phone")
        expect(page.locator("[data-outbox]")).to_contain_text("finish it when there is a network")

    page.get_by_role("button", name="Finish it").click()
    ready(page)
    save(page)
    page.wait_for_url(re.compile("/visits/.*-"))
    assert page.inner_text(".answer .figure") == "$50.00"


def test_full_phone_says_so_and_still_sends_what_is_typed(new_phone, line, world):
    phone = new_phone()
    page = phone.page
    session = phone.context.new_cdp_session(page)
    session.send("Storage.overrideQuotaForOrigin", {"origin": line.url, "quotaSize": 1})
    page.goto(f"/visits/new/{world.location.pk}/")
    sign_in(page, "tomas")
    ready(page)
    enter(page, world)

    expect(page.locator("[data-problems]")).to_contain_text("keeps nothing more")
    save(page)
    page.wait_for_url(re.compile("/visits/.*-"))
    assert Visit.objects.count() == 1


def test_two_hundred_waiting_visits_go_in_their_order(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    page = visit_offline(phone, line, world)
    page.evaluate(
        """async () => {
          const { items, add } = await import('/static/offline/outbox.js');
          const [first] = await items();
          for (let number = 1; number < 200; number += 1) {
            const id = crypto.randomUUID();
            const document = { ...first.document, id, entries: [], host_payment: null, note: `number ${number}`,
              loose_bag: null };
            await add({ ...first, id, key: id, saved: first.saved + number, document });
          }
        }"""
    )
    page.goto("/phone/")
    until_sent(page, seconds=120)

    notes = list(Visit.objects.order_by("received_at").values_list("note", flat=True))
    assert notes == ["", *(f"number {number}" for number in range(1, 200))]


def test_unsent_visits_go_to_the_owner_as_a_file(new_phone, line, world, owner, tmp_path):
    phone = new_phone()
    take_along(phone.page, world)
    page = visit_offline(phone, line, world)
    with line.meets("cut"):
        page.goto("/phone/")
        with page.expect_download() as download:
            page.click("text=Save them as a file")
        file = tmp_path / "unsent.json"
        download.value.save_as(file)
    office = Client()
    office.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")

    for _ in range(2):
        assert office.post("/visits/file/", {"file": file.open("rb")}).status_code == 200
    page.goto("/phone/")
    until_sent(page)  # the phone hears that it is there already

    assert list(Visit.objects.values_list("by__username", flat=True)) == ["tomas"]


def test_plain_visit_from_scan_to_saved_takes_few_taps(new_phone, line, world, capsys):
    from routeapp.models import Mix

    mix = Mix.objects.create(name="Harbour mix")
    mix.lines.create(prize=world.prizes[0], quantity=4)
    phone = new_phone()
    take_along(phone.page, world)
    phone.context.add_init_script(COUNT_TAPS)
    page, meter = phone.page, world.meters[0]
    with line.meets("cut"):
        started = time.monotonic()
        page.goto(f"/m/{meter.label.code}/")
        ready(page)
        section = page.locator(f"[data-cabinet='{meter.machine_id}']")
        for name, text in ((f"reading_{meter.pk}", "150"), ("cash-n1000", "5")):
            section.locator(f"[name={prefix(world)}-{name}]").click()
            page.keyboard.type(text)
        section.locator("summary", has_text="Prizes").click()
        section.locator(f"[name={prefix(world)}-mix_{mix.pk}]").click()
        page.keyboard.type("1")
        save(page)
        expect(page.locator("h1:visible")).to_have_text("Saved on this phone")
        taps, took = int(page.evaluate("localStorage.taps")), time.monotonic() - started
    with capsys.disabled():
        print(f"\nscan to saved: {taps} taps beside the digits, {took:.1f} s of waiting and work")

    assert taps <= 12


def test_document_says_what_the_form_on_the_server_says(new_phone, line, world):
    prizes = [entry(world, "before", cabinet, loaded={0: 20}) for cabinet in (0, 1)]
    before = record(world, document(world, "before", entries=prizes)).visit
    phone = new_phone()
    page = phone.page
    page.goto(f"/visits/new/{world.location.pk}/")
    sign_in(page, "tomas")
    ready(page)
    first, second = prefix(world), prefix(world, 1)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    for name, text in {
        f"{first}-reading_{world.meters[0].pk}": "90", f"{first}-cash-n1000": "3", f"{first}-cash-c25": "2",
        f"{first}-cash-w25": "56.7", f"{first}-tests": "3", f"{first}-grip_strength": "55", f"{first}-fault": "Dark",
        f"{first}-found_{world.prizes[0].pk}": "18",
        f"{first}-other_pieces": "7", f"{first}-other_found": "3", f"{second}-bag_number": "S 17",
        f"{second}-note": "Wobbles",
        "host_cents": "10", "host_received_by": "Mika", "note": "Closed early",
    }.items():  # fmt: skip
        page.fill(f"[name='{name}']", text)
    page.select_option(f"[name={first}-other_prize]", str(world.prizes[1].pk))
    page.check(f"[name={first}-tests_first]")
    page.check(f"[name={first}-found_estimated]")
    page.select_option(f"[name={first}-explained_{world.meters[0].pk}]", "reset")
    said = page.evaluate(
        """async () => {
          const { documentOf } = await import('/static/offline/document.js');
          const form = document.querySelector('form[data-visit]');
          form.elements.left_at.value = new Date().toISOString();
          form.elements.asked.value = 'on';
          const said = await documentOf(form);
          form.submit();
          return said;
        }"""
    )
    page.wait_for_url(re.compile("/visits/.*-"))

    stored = Visit.objects.exclude(pk=before.pk).get().document
    for name in ("arrived_at", "departed_at"):
        assert datetime.fromisoformat(said.pop(name)) == datetime.fromisoformat(stored.pop(name))
    assert filled(said) == filled(stored)


def filled(value):
    """Without what says nothing, as the fingerprint has it."""
    if isinstance(value, dict):
        told = {key: filled(one) for key, one in value.items() if filled(one) not in (None, "", False, 0, [], {})}
        return {key: one for key, one in told.items() if (key, one) != ("taken", "not_taken")}
    return [filled(one) for one in value] if isinstance(value, list) else value


def test_strangers_report_that_cannot_be_sent_stays_written(new_phone, line, world):
    page = new_phone().page
    page.goto(f"/m/{world.meters[0].label.code}/")
    page.fill("[name=text]", "The claw hangs")
    page.check("[name=stops_play]")
    with line.meets("cut"):
        page.click("text=Send the report")
        expect(page.locator("[data-not-sent]")).to_contain_text("could not be sent")
    page.reload()
    assert (page.input_value("[name=text]"), page.is_checked("[name=stops_play]")) == ("The claw hangs", True)
    page.click("text=Send the report")
    expect(page.locator("h1")).to_have_text("Thank you")


def test_page_for_no_network_is_small(client, db):
    files = [client.get("/phone/").content, client.get("/sw.js").content]
    files += [Path(finders.find(name)).read_bytes() for name in ASSETS if not name.endswith(".png")]

    assert sum(len(gzip.compress(one)) for one in files) <= 60_000
    assert json.loads(client.get("/manifest.webmanifest").content)["display"] == "standalone"
