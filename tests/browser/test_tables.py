"""A list in a real browser: typing filters it, a heading sorts it at once, and both stay in the address."""

import pytest

from tests import factories
from tests.browser.conftest import sign_in

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
