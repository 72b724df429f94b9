"""The first steps are offered to those who may take them."""

import re

import pytest

from tests import factories

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", ["owner", "route hand", "bookkeeper"])
def test_every_step_that_is_offered_may_be_taken(client, role):
    client.force_login(factories.person("sam", role), backend="django.contrib.auth.backends.ModelBackend")
    page = client.get("/").content.decode()
    offered = re.findall(r'<a class="button(?: plain)?" href="([^"]+)">(?:Do it|Bring|Write)', page)

    assert len(offered) == {"owner": 9, "route hand": 4, "bookkeeper": 0}[role]
    assert {client.get(address).status_code for address in offered} <= {200}
