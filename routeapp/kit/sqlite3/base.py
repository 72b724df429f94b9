"""Django's SQLite with four additions, for several phones at once and for years of history.

Writers of one process wait in a queue. SQLite's own waiting is a lottery: whoever finds the database taken sleeps up
to a tenth of a second and tries again, so while eight phones send their visits an unlucky one still finds it taken
after ten seconds, and fails.

Each new connection brings the statistics up to date by which SQLite chooses among indexes. Without them it takes
the index on a place where the one on a document is a thousand times better. Mostly there is nothing to do. None are
made while all tables are short: they would say that it is best to read those whole, also when they have grown since.

How SQLite wants the marks of values in a statement is remembered: Django works it out at each execution.

Moments are written and read as what they always are here, in UTC: Django looks at each of them for more.
"""

import contextlib
import threading
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from django.db import OperationalError
from django.db.backends.sqlite3 import base

PATIENCE = 20  # seconds; longer than any queue of phones, and as long as a person waits for an answer
BUSY = "database is locked"  # in the words of SQLite itself
LONG = 1000  # rows; statistics are made once a table has as many
_turn = threading.Lock()


def _choose_indexes_well(connection: Any) -> None:
    with contextlib.suppress(base.Database.OperationalError):  # another process writes
        connection.execute("PRAGMA analysis_limit=400")
        wanting = [statement.removeprefix("ANALYZE ") for (statement,) in connection.execute("PRAGMA optimize=0x10003")]
        rows = "SELECT 1 FROM {} LIMIT 1 OFFSET {}"
        if any(connection.execute(rows.format(table, LONG)).fetchone() for table in wanting):
            connection.execute("PRAGMA optimize=0x10002")


_with_marks = lru_cache(maxsize=500)(lambda query: base.FORMAT_QMARK_REGEX.sub("?", query).replace("%%", "%"))


class Cursor(base.SQLiteCursorWrapper):
    def convert_query(self, query: str, *, param_names: Sequence[str] | None = None) -> str:
        return super().convert_query(query, param_names=param_names) if param_names else _with_marks(query)


class Operations(base.DatabaseOperations):
    def adapt_datetimefield_value(self, value: datetime | None) -> str | None:
        if value is None:
            return None
        return str(value.astimezone(UTC).replace(tzinfo=None) if value.tzinfo else value)

    def convert_datetimefield_value(self, value: Any, expression: Any, connection: Any) -> datetime | None:
        if isinstance(value, str):  # what is worked out comes as text
            value = datetime.fromisoformat(value)
        return value and value.replace(tzinfo=UTC)


class DatabaseWrapper(base.DatabaseWrapper):
    ops_class = Operations
    has_turn = False

    def create_cursor(self, name: str | None = None) -> Any:
        return self.connection.cursor(factory=Cursor)

    def get_new_connection(self, conn_params: dict[str, Any]) -> Any:
        connection = super().get_new_connection(conn_params)
        if _turn.acquire(blocking=False):  # while somebody writes, the next connection will do it
            try:
                _choose_indexes_well(connection)
            finally:
                _turn.release()
        return connection

    def _start_transaction_under_autocommit(self) -> None:
        self.has_turn = _turn.acquire(timeout=PATIENCE)
        if not self.has_turn:
            raise OperationalError(BUSY)
        try:
            super()._start_transaction_under_autocommit()
        except BaseException:
            self._give_up_turn()
            raise

    def _set_autocommit(self, autocommit: bool) -> None:
        super()._set_autocommit(autocommit)
        if autocommit:  # the transaction is over
            self._give_up_turn()

    def close(self) -> None:
        super().close()
        if self.connection is None or self.closed_in_transaction:  # a database in memory stays open
            self._give_up_turn()

    def _give_up_turn(self) -> None:
        if self.has_turn:
            self.has_turn = False
            _turn.release()
