"""A bank's file in a real browser: how its rows read is shown at once while its columns are chosen."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
FILE = b"Date,Details,Amount,Kind\n2026-03-05,Monthly charge,4.00,Debit\n2026-03-06,Till,12.00,Put in\n"


def test_first_rows_read_anew_with_each_choice(open_phone, business, owner):
    page = open_phone()
    page.goto("/sign-in/?next=/earnings/cash/bank/statements/add/")
    sign_in(page, "ines")
    page.set_input_files("input[type=file]", {"name": "march.csv", "mimeType": "text/csv", "buffer": FILE})
    page.click("text=Look at it")
    read = page.locator("#read .list > li")
    expect(read).to_have_text(["5 Mar 2026 Monthly chargein $4.00", "6 Mar 2026 Tillin $12.00"])

    page.select_option("[name=c3]", "way")  # while the account is still to be named
    expect(read).to_have_text(["5 Mar 2026 Monthly chargeout −$4.00"])
    page.get_by_label("“put in” means").select_option("in")
    expect(read).to_have_text(["5 Mar 2026 Monthly chargeout −$4.00", "6 Mar 2026 Tillin $12.00"])
    assert page.errors == []
