"""How often a page asks the database."""

from django.db import connection
from django.test.utils import CaptureQueriesContext


def queries_of(client, address):
    client.get(address)  # what is kept after the first time must not count
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)
