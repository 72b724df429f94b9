"""What the tests of hosts, locations, terms and placements share."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests import factories


@pytest.fixture
def office_client(client, db):
    client.force_login(factories.person("greta", "bookkeeper"), backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def queries_of():
    """How many queries a page takes."""

    def count(client, address):
        client.get(address)  # what is read once per process is read now
        with CaptureQueriesContext(connection) as captured:
            assert client.get(address).status_code == 200
        return len(captured)

    return count
