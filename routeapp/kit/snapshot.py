"""Reading for minutes as if everything stood still, while others go on writing."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection

# Neither waits for writers nor lets them wait; our own transactions on SQLite would take the writers' turn.
BEGIN = {"sqlite": "BEGIN DEFERRED", "postgresql": "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"}


@contextmanager
def snapshot() -> Iterator[None]:
    """Everything read inside stands as it was at the first reading. Inside a transaction, that one holds."""
    if connection.in_atomic_block:
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute(BEGIN[connection.vendor])
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("ROLLBACK")
