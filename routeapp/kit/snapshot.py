"""Reading and trying out for minutes as if everything stood still, while others go on writing."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.backends.sqlite3 import base as sqlite

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


@contextmanager
def apart() -> Iterator[None]:
    """What is tried out inside, to be rolled back, keeps nobody from saving.

    SQLite has one writer at a time, so this thread works in a copy of the database, which is thrown away. Inside a
    transaction, which keeps others waiting anyway and cannot be copied, there is none.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    own = connections[DEFAULT_DB_ALIAS]
    with TemporaryDirectory(prefix="copy-", dir=settings.DATA) as folder, closing(_copy(own, folder)) as copy:
        connections[DEFAULT_DB_ALIAS] = copy
        try:
            yield
        finally:
            connections[DEFAULT_DB_ALIAS] = own


def _copy(own: sqlite.DatabaseWrapper, folder: str) -> sqlite.DatabaseWrapper:
    path = Path(folder) / "copy.sqlite3"
    own.ensure_connection()
    with closing(sqlite.Database.connect(path)) as target:
        own.connection.backup(target)
    careless = {"init_command": "PRAGMA journal_mode=MEMORY; PRAGMA synchronous=OFF"}
    return sqlite.DatabaseWrapper({**own.settings_dict, "NAME": path, "OPTIONS": careless}, DEFAULT_DB_ALIAS)
