"""From a scanned label to what a location earned, on a phone."""

import pytest

from locations.agreements.actions import add_agreement
from locations.agreements.rules_terms import TermLine
from machines.labels.actions import label_for
from routeapp.models import Sealed, ServiceEntry, Visit
from tests.browser.conftest import sign_in
from tests.visits.books import START, add_prizes_meter, document, entry, make_world, record

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def world(business, owner, route_hand):
    world = make_world(owner)
    for meter in world.meters:
        meter.label = label_for(machine=meter.machine, by=owner, at=START)
    return world


def at_the_stop(open_phone, world):
    """A phone with the page of a visit that begins now."""
    page = open_phone()
    page.goto(f"/visits/new/{world.location.pk}/")
    sign_in(page, "tomas")
    return page


def log_a_stop(page, world):
    """Scan, sign in, start a visit, two cabinets with meter and cash, save."""
    first, second = world.meters
    page.goto(f"/m/{first.label.code}/")
    page.click("a:has-text('Sign in')")
    sign_in(page, "tomas")
    page.click("a:has-text('Start a visit')")
    for meter, value, notes in ((first, "150", "5"), (second, "180", "8")):
        prefix = f"c{meter.machine_id}"
        page.fill(f"[name={prefix}-reading_{meter.pk}]", value)
        if not page.is_visible(f"[name={prefix}-cash-n1000]"):
            page.locator(f"section:has([name={prefix}-bag_number]) summary", has_text="Cash").first.click()
        page.fill(f"[name={prefix}-cash-n1000]", notes)
    page.click("button:has-text('Save the visit')")
    page.wait_for_url("**/visits/*-*/")


def test_sealed_bag_is_compared_with_the_meters(open_phone, world):
    meter = world.meters[0]
    page = at_the_stop(open_phone, world)
    page.fill(f"[name=c{meter.machine_id}-reading_{meter.pk}]", "150")
    page.fill(f"[name=c{meter.machine_id}-bag_number]", "S-7")
    page.click("button:has-text('Save the visit')")
    page.wait_for_url("**/visits/*-*/")

    assert Sealed.objects.get().estimate_cents == 5000


def test_phone_asks_about_a_host_who_got_more_than_was_counted(open_phone, world):
    prefix = f"c{world.meters[0].machine_id}"
    page = at_the_stop(open_phone, world)
    page.fill(f"[name={prefix}-cash-n1000]", "5")
    page.click("text=Cash given to the host")
    page.fill("[name=host_cents]", "50.50")
    page.fill("[name=host_received_by]", "Mika")
    page.click("button:has-text('Save the visit')")
    asked = page.locator(".errorlist:visible").inner_text()
    page.click("button:has-text('It is right, save it')")
    page.wait_for_url("**/visits/*-*/")

    assert asked == "The host got $50.50, but only $50.00 was counted here. Is that right?"
    assert page.errors == []


def test_visit_of_another_day_does_not_last_until_now(open_phone, world):
    page = at_the_stop(open_phone, world)
    page.fill("[name=arrived_at]", "2026-03-20T10:00")
    page.fill("[name=note]", "Nobody there.")
    page.click("button:has-text('Save the visit')")
    page.wait_for_url("**/visits/*-*/")

    visit = Visit.objects.get()
    assert visit.departed_at == visit.at


@pytest.mark.parametrize("scripts", [True, False], ids=["with JavaScript", "without JavaScript"])
def test_scan_sign_in_visit_and_earnings(open_phone, world, scripts):
    page = open_phone(java_script_enabled=scripts)

    log_a_stop(page, world)

    assert page.inner_text("h1") == "The money is right"
    assert page.inner_text(".answer .figure") == "$130.00"
    page.click("nav.jobs a:has-text('Money')")
    assert "$130.00" in page.inner_text("main")
    assert (Visit.objects.count(), ServiceEntry.objects.count()) == (1, 2)
    assert page.errors == []


def test_page_says_at_once_what_the_meter_expects_and_what_is_short(open_phone, world):
    meter = world.meters[0]
    prefix = f"c{meter.machine_id}"
    page = at_the_stop(open_phone, world)
    section = page.locator(f"section:has([name={prefix}-bag_number])")

    page.fill(f"[name={prefix}-reading_{meter.pk}]", "90")
    assert section.locator("[data-delta]").inner_text() == (
        "◆ Lower than the last reading. Look again, or say what happened."
    )
    page.fill(f"[name={prefix}-reading_{meter.pk}]", "150")
    assert section.locator("[data-delta]").inner_text() == "+50 plays = $50.00"
    page.fill(f"[name={prefix}-cash-n1000]", "4")
    section.get_by_role("button", name="One more: $0.25 coins").click()

    assert section.locator("[data-total]").inner_text() == "$40.25"
    assert section.locator("[data-verdict]").inner_text() == "Short by $9.75"
    assert page.errors == []


def test_field_in_which_somebody_types_keeps_the_keyboard_while_scripts_start(open_phone, world):
    page, held = open_phone(service_workers="block"), []
    page.goto("/sign-in/")
    sign_in(page, "tomas")
    page.route("**/js/count*.js", lambda route: held.append(route))
    page.goto(f"/visits/new/{world.location.pk}/", wait_until="commit")
    field = page.locator(f"[name=c{world.meters[0].machine_id}-cash-n1000]")
    page.locator("summary", has_text="Cash").first.click()
    if not field.is_visible():
        page.locator("summary", has_text="Cash").first.click()
    field.press_sequentially("1")

    held[0].continue_()
    page.wait_for_selector("form[data-ready]")
    page.keyboard.type("5")

    assert field.input_value() == "15"
    assert page.locator(".stepper").first.inner_text().split() == ["−", "+"]


def test_page_reads_thousands_and_grams_as_the_server_does(open_phone, world):
    meter = world.meters[0]
    prefix = f"c{meter.machine_id}"
    page = at_the_stop(open_phone, world)
    page.wait_for_selector("form[data-ready]")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    section = page.locator(f"section:has([name={prefix}-bag_number])")
    page.fill(f"[name={prefix}-cash-c25]", "1.000")
    totals = [section.locator("[data-total]").inner_text()]
    section.get_by_role("button", name="One more: $0.25 coins").click()
    for text in ("5.670", "5,670", ".57"):
        page.fill(f"[name={prefix}-cash-w25]", text)
        totals.append(section.locator("[data-total]").inner_text())
    page.check(f"[name={prefix}-tests_first]")
    page.fill(f"[name={prefix}-tests]", "1.000")
    page.fill(f"[name={prefix}-reading_{meter.pk}]", "1150")

    assert page.input_value(f"[name={prefix}-cash-c25]") == "1001"
    assert totals == ["$250.00", "not a number", "$500.25", "$250.25"]
    assert section.locator("[data-delta]").first.inner_text() == "+50 plays = $50.00"
    assert page.errors == []


def test_a_prizes_meter_past_its_last_number_goes_out_by_the_outbox_and_tells_what_was_won(open_phone, world, owner):
    add_prizes_meter(world, shown=995)
    record(world, document(world, "before", entries=[entry(world, "before", out=995, loaded={0: 30})]))
    prefix = f"c{world.out.machine_id}"
    page = at_the_stop(open_phone, world)
    section = page.locator(f"section:has([name={prefix}-bag_number])")
    section.locator("summary", has_text="Test plays").click()
    page.fill(f"[name={prefix}-tests]", "3")
    page.check(f"[name={prefix}-tests_first]")
    page.fill(f"[name={prefix}-reading_{world.out.pk}]", "2")

    said = page.locator(f".small-gap:has([name={prefix}-reading_{world.out.pk}]) [data-delta]")
    assert said.inner_text() == "Went past its last number: +7 prizes"
    page.click("button:has-text('Save the visit')")
    page.wait_for_url("**/visits/*-*/")

    assert page.locator("dt:has-text('Prizes won') + dd").inner_text() == "7 by the meter"
    assert page.errors == []


def test_page_says_what_a_host_paid_on_the_spot_gets_and_phones_do_not_take_it_along(open_phone, world, owner):
    terms = (TermLine("share", rate_bp=2500),)
    facts = {"location": world.location, "starts_on": START.date(), "by": owner, "at": START, "received_at": START}
    add_agreement(settled="visit", paid="cash", terms=terms, **facts)
    page = at_the_stop(open_phone, world)
    for meter, sum_of in ((world.meters[0], "50.05"), (world.meters[1], "30")):
        page.locator(f"[name=c{meter.machine_id}-cash-sum]").evaluate(
            "(one, text) => { one.value = text; one.dispatchEvent(new Event('input', { bubbles: true })); }", sum_of
        )

    assert page.inner_text("[data-share]").split("\n") == ["Of what is counted here", "$20.01"]
    assert "25 % of the take, settled at each visit, paid in cash." in page.inner_text("main").lower()
    taken = page.request.get(f"/sync/stops/{world.location.pk}/").text()
    assert [word in taken for word in ("data-share", "25 %", "Cash given to the host")] == [False, False, True]
    assert page.errors == []


def test_question_stands_once_and_goes_when_the_figure_changes(open_phone, world):
    page = at_the_stop(open_phone, world)
    page.wait_for_selector("form[data-ready]")
    reading = f"[name=c{world.meters[0].machine_id}-reading_{world.meters[0].pk}]"
    page.fill(reading, "50")
    page.click("button:has-text('Save the visit')")
    page.wait_for_selector(".errorlist")
    block = page.locator(f".small-gap:has({reading})")

    assert [one.is_visible() for one in block.locator(".errorlist, [data-delta]").all()] == [True, False]
    page.fill(reading, "150")
    assert block.locator(".errorlist").count() == 0
    assert block.locator("[data-delta]").inner_text() == "+50 plays = $50.00"


def test_half_typed_visit_survives_a_reload_and_goes_when_saved(open_phone, world):
    meter = world.meters[0]
    field = f"[name=c{meter.machine_id}-reading_{meter.pk}]"
    page = at_the_stop(open_phone, world)
    page.fill(field, "150")
    page.fill("[name=note]", "Keys hang behind the bar")

    page.reload()
    assert (page.input_value(field), page.input_value("[name=note]")) == ("150", "Keys hang behind the bar")

    page.click("button:has-text('Save the visit')")
    page.wait_for_url("**/visits/*-*/")
    page.goto(f"/visits/new/{world.location.pk}/")
    assert page.input_value(field) == ""


def test_twice_tapped_save_is_one_visit(open_phone, world):
    meter = world.meters[0]
    page = at_the_stop(open_phone, world)
    page.fill(f"[name=c{meter.machine_id}-reading_{meter.pk}]", "150")

    page.dblclick("button:has-text('Save the visit')")
    page.wait_for_url("**/visits/*-*/")

    assert Visit.objects.count() == 1


def test_draft_belongs_to_the_person_who_typed_it(open_phone, world):
    meter = world.meters[0]
    field = f"[name=c{meter.machine_id}-reading_{meter.pk}]"
    page = at_the_stop(open_phone, world)
    page.fill(field, "150")
    page.goto("/setup/")
    page.click("button:has-text('Sign out')")
    page.wait_for_url("**/sign-in/**")

    page.goto(f"/visits/new/{world.location.pk}/")
    sign_in(page, "ines")

    assert page.input_value(field) == ""
