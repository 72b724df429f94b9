"""Taking out and bringing in for tests: every table as it stands, an emptied installation, zips that were changed."""

import csv
import io
from zipfile import ZipFile

from django.db import connection

from routeapp.data.export import queries
from routeapp.data.export.actions import take_out
from routeapp.data.export.actions_bring_in import bring_in
from routeapp.kit import clock


def taken_out(by=None):
    return b"".join(take_out(by=by, at=clock.now()))


def brought_in(content, by=None):
    return bring_in(file=io.BytesIO(content), size=len(content), by=by, at=clock.now())


def every_table():
    return {table.name: list(table.rows()) for table in queries.tables()}


def emptied():
    """Take every row away, as if this were another installation."""
    for table in reversed(queries.tables()):
        table.model._base_manager.all()._raw_delete(connection.alias)


def changed(content, **entries):
    """The zip with some entries written anew by a function of their bytes; None leaves one out."""
    out = io.BytesIO()
    with ZipFile(io.BytesIO(content)) as before, ZipFile(out, "w") as after:
        for name in before.namelist():
            write = entries.get(name, lambda kept: kept)
            if write is not None:
                after.writestr(name, write(before.read(name)))
    return out.getvalue()


def cell(row, column, value):
    """A change of one cell of a table; rows are counted as spreadsheets do."""

    def write(content):
        rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))
        rows[row - 1][rows[0].index(column)] = value
        out = io.StringIO()
        csv.writer(out).writerows(rows)
        return out.getvalue().encode()

    return write
