"""A delivery told at a dock without a network: kept with its photo, and sent exactly once."""

import pytest
from playwright.sync_api import expect

from machines.models import Arrival, ArrivalPhoto, Finding
from tests.browser.conftest import sign_in
from tests.browser.test_offline_visit import at_rest, until_sent
from tests.machines.arrivals.cast import machines_of, order_of_two, photo

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def order(business, owner, route_hand):
    return order_of_two(owner)


def open_page(page, order):
    page.goto(f"/buying/orders/{order.pk}/delivery/")
    if "/sign-in/" in page.url:
        sign_in(page, "tomas")
    page.wait_for_selector("form[data-ready]")


def fill(page, order):
    machine = machines_of(order)[0]
    page.fill("[name=listed]", "2")
    page.fill("[name=came]", "2")
    page.select_option("[name=outside]", "fine")
    page.click(f"[data-prefix='{machine.pk}'] summary")
    page.select_option(f"[name=c{machine.pk}-unpacked]", "rest")
    page.get_by_label("Glass").first.select_option("damaged")
    file = {"name": "crate.png", "mimeType": "image/png", "buffer": photo().read()}
    page.set_input_files(f"[name=c{machine.pk}-photos]", [file])
    expect(page.locator(f"[data-prefix='{machine.pk}'] [data-photos] li")).to_have_count(1)


def test_a_delivery_is_kept_without_a_network_and_goes_once_there_is_one(open_phone, order):
    page = open_phone()
    open_page(page, order)
    page.context.set_offline(True)
    fill(page, order)
    page.click("button:has-text('Save the delivery')")
    expect(page.locator("main h1")).to_have_text("Saved on this phone")
    assert Arrival.objects.count() == 0
    page.errors.clear()  # the browser complains that it is offline

    page.context.set_offline(False)
    page.goto("/phone/")
    until_sent(page)

    assert (Arrival.objects.count(), ArrivalPhoto.objects.get().machine) == (1, machines_of(order)[0])
    assert list(Finding.objects.values_list("what", "state")) == [("Glass", "damaged"), ("Topper", "fine")]


def test_what_was_typed_comes_back_and_is_mended_by_what_the_server_says(open_phone, order):
    page = open_phone()
    open_page(page, order)
    fill(page, order)
    page.fill("[name=listed]", "3")
    page.wait_for_timeout(300)

    open_page(page, order)
    expect(page.locator("[data-draft-note]")).to_contain_text("Brought back")
    page.click("button:has-text('Save the delivery')")
    expect(page.locator(".errorlist")).to_contain_text("Write down what is wrong, as it stands on the receipt.")
    page.fill("[name=receipt_words]", "2 of 3 pieces received")
    page.errors.clear()  # the browser complains of the answer 422
    page.click("button:has-text('Save the delivery')")
    page.wait_for_url("**/buying/deliveries/*/")

    assert (Arrival.objects.get().receipt_words, page.locator("main .figure").inner_text()) == (
        "2 of 3 pieces received",
        "2 not right",
    )


def test_a_delivery_taken_along_is_opened_and_told_without_a_network(open_phone, order):
    page = open_phone()
    page.goto("/buying/deliveries/")
    sign_in(page, "tomas")
    at_rest(page)
    page.click("text=Take along")
    expect(page.locator("[data-take-delivery] + span")).to_have_text("On this phone.")
    page.context.set_offline(True)
    page.goto("/phone/")
    page.get_by_role("link", name=f"At the door: {order}").click()
    page.wait_for_selector("form[data-ready]")
    fill(page, order)
    page.click("button:has-text('Save the delivery')")
    expect(page.locator("main h1:visible")).to_have_text("Saved on this phone")
    page.errors.clear()  # the browser complains that it is offline

    page.context.set_offline(False)
    page.goto("/phone/")
    until_sent(page)

    assert (Arrival.objects.get().order, ArrivalPhoto.objects.get().machine) == (order, machines_of(order)[0])


def test_a_delivery_that_never_finds_a_network_goes_to_the_owner_as_a_file(open_phone, client, owner, order, tmp_path):
    page = open_phone()
    open_page(page, order)
    at_rest(page)
    page.context.set_offline(True)
    fill(page, order)
    page.click("button:has-text('Save the delivery')")
    expect(page.locator("main h1")).to_have_text("Saved on this phone")
    page.goto("/phone/")
    expect(page.locator("[data-lines]")).to_contain_text("1 delivery not sent yet")
    with page.expect_download() as download:
        page.click("text=Save them as a file")
    download.value.save_as(tmp_path / "unsent.json")
    page.errors.clear()  # the browser complains that it is offline

    client.force_login(owner)
    states = []
    for _ in "ab":
        with (tmp_path / "unsent.json").open("rb") as file:
            done = client.post("/visits/file/", {"file": file}).context["done"]
        states.append([(one.problem, one.is_new) for one in done])

    assert states == [[("", True)], [("", False)]]
    assert (Arrival.objects.get().by.username, ArrivalPhoto.objects.get().machine) == ("tomas", machines_of(order)[0])
