"""A list in a real browser: typing filters it, a heading sorts it at once, and both stay in the address."""

from uuid import uuid4

import pytest

from machines.models import Fault
from tests import factories
from tests.browser.conftest import sign_in
from tests.earnings.story import tell

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_heading_clicked_right_after_typing_sorts_what_was_found(open_phone, business, owner):
    for code, price in (("C-1", 50), ("C-2", 200), ("K-1", 100)):
        factories.MachineFactory(code=code, price_cents=price)
    page = open_phone()
    page.goto("/sign-in/?next=/cabinets/")
    sign_in(page, "ines")

    page.fill("#q", "c-")
    page.locator("#rows tbody tr").nth(2).wait_for(state="detached")
    page.click("#rows thead a:has-text('A play')")
    page.wait_for_selector("#rows [aria-sort=descending]")

    assert page.locator("#rows tbody th").all_inner_texts() == ["C-2", "C-1"]
    assert page.url.endswith("/cabinets/?q=c-&status=&kind=&sort=-price")
    assert page.errors == []


def test_list_wider_than_its_page_scrolls_alone(open_phone, business, owner, noon):
    said = {
        "text": "Paid and nothing came",
        "contact": "counter.of.the.arcade@lantern-arcade.example",
        "at": noon,
        "received_at": noon,
    }
    Fault.objects.create(uuid=uuid4(), machine=factories.MachineFactory(), via="staff", by=owner, **said)
    page = open_phone()
    page.goto("/sign-in/?next=/faults/")
    sign_in(page, "ines")
    page.set_viewport_size({"width": 900, "height": 800})
    table = page.locator("#rows .scroll")
    assert table.evaluate("one => one.scrollWidth > one.clientWidth")
    assert page.evaluate("document.documentElement.scrollWidth") == 900


def test_row_of_many_figures_shows_two_on_a_phone_until_all_are_asked_for(open_phone, business, owner, noon):
    tell(owner)
    page = open_phone()
    page.goto("/sign-in/?next=/earnings/profit/?since=2026-03-01%26until=2026-03-31")
    sign_in(page, "ines")

    def seen():
        labels = "rows => rows[0].querySelectorAll('td[data-label]')"
        return page.locator("#rows tbody tr").evaluate_all(
            f"rows => [...({labels})(rows)].filter(one => one.offsetParent).map(one => one.dataset.label)"
        )

    assert seen() == ["Profit", "Cash taken"]
    page.click("#rows thead a:has-text('Prizes won')")
    page.wait_for_selector("#rows [aria-sort=descending]")
    assert seen() == ["Profit", "Cash taken", "Prizes won"]
    page.check("text=Show every figure")
    assert seen()[:3] == ["Profit", "Cash taken", "Hosts' share"]
    assert page.locator("#rows .scroll").evaluate("one => one.scrollWidth - one.clientWidth") == 0
    page.set_viewport_size({"width": 1280, "height": 800})
    assert not page.locator("text=Show every figure").is_visible()
    assert page.errors == []


def test_name_without_a_gap_breaks_within_the_page(open_phone, business, owner, noon):
    long = "Sugarcandymachineinstallationcompanyadministrationbuilding"
    placement = factories.PlacementFactory(location__name=long, location__host__name=long, machine__model__name=long)
    Fault.objects.create(
        uuid=uuid4(), machine=placement.machine, via="staff", text=long * 2, by=owner, at=noon, received_at=noon
    )
    page = open_phone()
    page.goto("/sign-in/")
    sign_in(page, "ines")
    place, code = placement.location_id, placement.machine.code
    pages = ["/", f"/locations/{place}/", f"/visits/new/{place}/", f"/cabinets/{code}/", "/faults/", "/keys/add/"]

    widths = {
        address: page.goto(address) and page.evaluate("document.documentElement.scrollWidth") for address in pages
    }

    assert widths == dict.fromkeys(pages, 360)


def test_large_amount_is_never_broken_between_its_digits(open_phone, business, owner):
    page = open_phone()
    page.goto("/sign-in/?next=/earnings/")
    sign_in(page, "ines")
    figure = page.locator("h1 .figure")
    figure.evaluate("one => { one.textContent = '$29,163,750.00'; }")

    assert figure.evaluate("one => one.getClientRects().length") == 1
    assert page.evaluate("document.documentElement.scrollWidth") == 360
