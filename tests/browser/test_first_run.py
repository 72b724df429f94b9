"""From an empty installation to five cabinets at five locations, by hand on a phone; counts what it takes."""

import pytest

from locations.models import Placement
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

STANDS = [
    ("Tidewater Diner", "1200"),
    ("Mill Lane Launderette", "830"),
    ("Corner House Arcade", "4410"),
    ("Quay Bowling", "95"),
    ("Lamp Street Cinema", "2750"),
]


class Thumb:
    """Types and taps, and counts both."""

    def __init__(self, page):
        self.page, self.fields, self.taps, self.signs = page, 0, 0, 0

    def type(self, name, text):
        self.page.fill(f"[name={name}]", text)
        self.fields, self.signs = self.fields + 1, self.signs + len(text)

    def choose(self, name, value):
        self.page.select_option(f"[name={name}]", value)
        self.fields += 1

    def tap(self, text):
        self.page.click(f"main :is(a, button):has-text('{text}')")
        self.page.wait_for_load_state("load")
        self.taps += 1


def test_a_business_of_five_cabinets_by_hand(open_phone, transactional_db):
    page = open_phone(timezone_id="America/Chicago")
    page.goto("/")
    thumb = Thumb(page)
    thumb.tap("Set it up here")
    assert page.input_value("[name=time_zone]") == "America/Chicago"
    for name, text in (
        ("name", "Lantern Rounds"),
        ("own_name", "Ines Lobo"),
        ("username", "ines"),
        ("password", factories.PASSWORD),
    ):
        thumb.type(name, text)
    thumb.tap("Begin")
    thumb.tap("Write down the first cabinet")
    for number, (location, shown) in enumerate(STANDS):
        thumb.type("location", location)
        thumb.type("plays", shown)
        if number == 0:
            thumb.type("share", "40")
            thumb.type("model", "Harbour Claw")
            thumb.type("price", "1.00")
        thumb.tap("Write it down")
    thumb.tap("That was the last one")

    print(f"first run: {thumb.fields} fields, {thumb.signs} characters, {thumb.taps} taps")
    assert Placement.objects.filter(ended_at=None).values("location").distinct().count() == 5
    # Half a minute a field would still be under ten minutes.
    assert (thumb.fields, thumb.taps) == (17, 9)
    assert page.errors == []
