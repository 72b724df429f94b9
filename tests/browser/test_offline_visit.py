"""A visit without a network: opened from the label, entered, kept through anything, and sent exactly once."""

import io
import re

import pytest
from PIL import Image
from playwright.sync_api import expect

from machines.labels.actions import label_for
from routeapp.models import HostPayment, Photo, Visit
from tests.browser.conftest import sign_in
from tests.visits.books import START, make_world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def world(business, owner, route_hand):
    world = make_world(owner)
    for meter in world.meters:
        meter.label = label_for(machine=meter.machine, by=owner, at=START)
    world.location.access_notes = "Ring at the yard door"
    world.location.save()
    return world


def ready(page):
    page.wait_for_selector("form[data-ready]")


def open_visit(page, world):
    page.goto(f"/visits/new/{world.location.pk}/")
    ready(page)
    return page


def at_rest(page):
    """The worker is in place, and what the page wanted to fetch has come."""
    page.evaluate("navigator.serviceWorker.ready.then((one) => one.active.state)")
    page.wait_for_load_state("networkidle")


def take_along(page, world, username="tomas"):
    page.goto(f"/locations/{world.location.pk}/")
    sign_in(page, username)
    page.click("text=Take along")
    expect(page.locator("[data-take] + span")).to_contain_text("On this phone: 2 cabinets")
    at_rest(page)


def prefix(world, cabinet=0):
    return f"c{world.meters[cabinet].machine_id}"


def enter(page, world, reading="150", notes="5", cabinet=0):
    page.fill(f"[name={prefix(world, cabinet)}-reading_{world.meters[cabinet].pk}]", reading)
    box = page.locator(f"[data-cabinet='{world.meters[cabinet].machine_id}'] details").first
    if box.get_attribute("open") is None:
        box.locator("summary").first.click()
    page.fill(f"[name={prefix(world, cabinet)}-cash-n1000]", notes)


def save(page):
    page.click("button:has-text('Save the visit')")


def unsent(page):
    return page.evaluate("import('/static/offline/outbox.js').then(({ items }) => items()).then((all) => all.length)")


def until_sent(page, left=0, seconds=15):
    for _ in range(10 * seconds):
        if unsent(page) == left:
            break
        page.wait_for_timeout(100)
    assert unsent(page) == left, page.inner_text("body")
    expect(page.locator("[data-unsent]")).to_be_visible(visible=left > 0)


def send_now(page):
    page.click("text=Send now")
    until_sent(page)


def photo(name, size=(2400, 1200)):
    file = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "A camera"
    Image.effect_noise(size, 60).convert("RGB").save(file, "JPEG", exif=exif, quality=90)
    return {"name": name, "mimeType": "image/jpeg", "buffer": file.getvalue()}


def test_label_opens_its_cabinet_on_a_cold_start_without_a_network(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    phone.kill()

    with line.meets("cut"):
        page = phone.start()
        page.goto(f"/m/{world.meters[1].label.code}/")
        ready(page)
        assert page.inner_text("h1") == "Lantern Arcade"
        assert page.locator(f"[data-cabinet='{world.meters[1].machine_id}']").is_visible()
        page.click("text=About this place")
        assert "Ring at the yard door" in page.inner_text("[data-about]")
        enter(page, world, "150", "4", cabinet=1)
        assert page.locator("[data-verdict]").nth(1).inner_text() == "Short by $10.00"
    assert page.errors == []


def test_visit_with_photos_and_signature_survives_a_killed_browser_and_is_one(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    with line.meets("cut"):
        page = phone.page
        open_visit(page, world)
        enter(page, world)
        section = page.locator(f"[data-cabinet='{world.meters[0].machine_id}']")
        section.get_by_text("Photos and note").click()
        section.locator("input[type=file]").set_input_files([photo("a.jpg"), photo("b.jpg")])
        expect(section.locator("[data-photos] img")).to_have_count(2)
        page.click("text=Cash given to the host")
        page.fill("[name=host_cents]", "15")
        page.fill("[name=host_received_by]", "Mika")
        pad = page.locator("canvas")
        pad.evaluate("(one) => one.scrollIntoView({ block: 'center' })")
        box = pad.bounding_box()
        page.mouse.move(box["x"] + 20, box["y"] + 20)
        page.mouse.down()
        page.mouse.move(box["x"] + 120, box["y"] + 60, steps=5)
        page.mouse.up()
        page.wait_for_timeout(300)
        phone.kill()

        page = phone.start()
        open_visit(page, world)
        assert page.input_value(f"[name={prefix(world)}-reading_{world.meters[0].pk}]") == "150"
        expect(page.locator("[data-photos] img")).to_have_count(2)
        save(page)
        expect(page.locator("h1:visible")).to_have_text("Saved on this phone")
        phone.kill()

        page = phone.start()
        page.goto("/phone/")
        expect(page.locator("[data-unsent]")).to_contain_text("1 visit not sent yet")
    page.goto("/sign-in/")  # a battery that ends takes the newest sign-in with it
    if page.is_visible("[name=username]"):
        sign_in(page, "tomas")
    until_sent(page)

    assert Visit.objects.count() == 1
    pictures = [Image.open(one.file) for one in Photo.objects.all()]
    assert [(max(one.size), dict(one.getexif())) for one in pictures] == [(1600, {})] * 2
    assert HostPayment.objects.get().signature
    assert unsent(page) == 0


def test_answer_lost_after_it_was_saved_makes_no_second_visit(new_phone, line, world):
    page = new_phone().page
    take_along(page, world)
    open_visit(page, world)
    enter(page, world)

    with line.meets("lost", "/sync/visits/"):
        save(page)
        expect(page.locator("h1:visible")).to_have_text("Saved on this phone")
    send_now(page)

    assert line.sent_visits().get(201) == 1
    assert line.sent_visits()[200] >= 1
    assert Visit.objects.count() == 1


@pytest.mark.parametrize("fate", ["killed", "broken", "busy", "sign-in", "portal", "cut"])
def test_visit_stays_on_the_phone_whatever_answers_instead_of_the_server(new_phone, line, world, fate):
    page = new_phone().page
    take_along(page, world)
    open_visit(page, world)
    enter(page, world)

    with line.meets(fate, "/sync/"):
        save(page)
        expect(page.locator("h1:visible")).to_have_text("Saved on this phone")
        assert (unsent(page), Visit.objects.count()) == (1, 0)
    send_now(page)

    assert Visit.objects.count() == 1


def test_browser_that_knows_no_time_limits_sends_a_visit_and_a_strangers_report(new_phone, line, world):
    phone = new_phone()
    phone.context.add_init_script("delete AbortSignal.timeout")
    page = phone.page
    page.goto(f"/m/{world.meters[0].label.code}/")
    page.fill("[name=text]", "The claw hangs")
    page.click("text=Send the report")
    expect(page.locator("h1")).to_have_text("Thank you")
    take_along(page, world)
    open_visit(page, world)
    enter(page, world)
    save(page)
    page.wait_for_url(re.compile("/visits/.*-"))

    assert line.sent_visits() == {201: 1}


def test_hanging_server_is_waited_for_no_longer_than_a_person_would(new_phone, line, world):
    page = new_phone().page
    take_along(page, world)
    with line.meets("hang"):
        page.goto(f"/m/{world.meters[0].label.code}/", timeout=30_000)
        ready(page)
        enter(page, world)
        save(page)
        expect(page.locator("[data-problems]")).to_contain_text("Saved on this phone")
        expect(page.locator("h1:visible")).to_have_text("Saved on this phone", timeout=20_000)
    page.goto("/phone/")
    until_sent(page)

    assert Visit.objects.count() == 1


def test_two_tabs_send_it_once(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    with line.meets("cut"):
        open_visit(phone.page, world)
        enter(phone.page, world)
        save(phone.page)
        expect(phone.page.locator("h1:visible")).to_have_text("Saved on this phone")
    tabs = [phone.tab(), phone.tab()]
    for tab in tabs:
        tab.goto("/phone/", wait_until="commit")
    for tab in tabs:
        expect(tab.locator("[data-home]")).to_be_visible()
        until_sent(tab)

    assert line.sent_visits() == {201: 1}
    assert Visit.objects.count() == 1


def test_other_tab_with_the_same_visit_hears_that_it_was_sent(new_phone, line, world):
    phone = new_phone()
    take_along(phone.page, world)
    first, second = phone.page, phone.tab()
    open_visit(first, world)
    enter(first, world)
    open_visit(second, world)

    save(first)
    first.wait_for_url(re.compile("/visits/.*-"))

    expect(second.locator("[data-problems]")).to_contain_text("sent from another tab")
    assert second.locator("button:has-text('Save the visit')").is_disabled()
    assert Visit.objects.count() == 1
