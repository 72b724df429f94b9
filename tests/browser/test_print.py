"""What comes out of a printer."""

import pytest

from tests import factories
from tests.browser.conftest import sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_paper_is_white_and_its_ink_dark_whatever_the_screen_shows(open_phone, business, owner):
    factories.MachineFactory()
    page = open_phone(color_scheme="dark")
    page.goto("/sign-in/?next=/cabinets/")
    sign_in(page, "ines")
    accent = "getComputedStyle(document.documentElement).getPropertyValue('--accent').trim()"
    dark = page.evaluate(accent)
    page.emulate_media(media="print", color_scheme="dark")

    assert (page.evaluate(accent), page.evaluate("getComputedStyle(document.body).backgroundColor")) == (
        "#12505c",
        "rgb(255, 255, 255)",
    )
    assert dark != "#12505c"
