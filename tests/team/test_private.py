"""What one person saw or did must not serve or hinder the next one."""

import pytest

from tests.factories import PASSWORD


@pytest.mark.parametrize("address", ["/", "/people/", "/earnings/csv/?table=take", "/no/such/page"])
def test_page_of_somebody_signed_in_is_asked_for_anew(owner_client, address):
    assert owner_client.get(address).headers["Cache-Control"] == "private, no-cache"


def test_wrong_passwords_behind_a_proxy_lock_out_only_where_they_came_from(client, owner, settings):
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

    def sign_in(password, address):
        form = {"username": "ines", "password": password}
        return client.post("/sign-in/", form, headers={"X-Forwarded-For": address}).status_code

    for _ in range(settings.AXES_FAILURE_LIMIT):
        sign_in("wrong", "192.0.2.66")

    assert sign_in(PASSWORD, "192.0.2.66") == 429
    assert sign_in(PASSWORD, "203.0.113.9, 192.0.2.1") == 302


@pytest.mark.parametrize("address", ["", "not an address", "\x00", "1" * 500])
def test_address_nobody_can_read_is_no_reason_to_break(client, owner, settings, address):
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    form = {"username": "ines", "password": "wrong"}

    assert client.post("/sign-in/", form, headers={"X-Forwarded-For": address}).status_code == 422
