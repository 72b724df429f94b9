"""“I am here” writes where the phone is into the coordinates of a page: of a location, of where a driver sets out."""

import pytest

from tests import factories
from tests.browser.conftest import sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize(("page_of", "prefix"), [("location", ""), ("driver", "start_")])
def test_phone_writes_down_where_it_is(open_phone, business, owner, page_of, prefix):
    location = factories.LocationFactory()
    address = {"location": f"/locations/{location.pk}/edit/", "driver": f"/rounds/crew/{owner.pk}/"}[page_of]
    page = open_phone(geolocation={"latitude": -39.6, "longitude": 176.85}, permissions=["geolocation"])
    page.goto(f"/sign-in/?next={address}")
    sign_in(page, "ines")

    page.click("text=I am here")
    page.wait_for_selector("text=Written, right to about")

    found = [page.input_value(f"[name={prefix}{name}]") for name in ("latitude", "longitude")]
    assert (found, page.errors) == (["-39.600000", "176.850000"], [])
