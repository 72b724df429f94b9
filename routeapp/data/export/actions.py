"""Everything that is in the books as one zip: CSV files, what they mean, photos, and a workbook to look at."""

import io
import json
import tempfile
from collections.abc import Callable, Generator, Iterator
from datetime import UTC, datetime
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from django.core.files.storage import default_storage

from routeapp.data.export import queries
from routeapp.data.export.queries import Column, Table
from routeapp.data.export.rules_about import ABOUT, DICTIONARY, FILES, FORMAT, READ_ME, WORKBOOK
from routeapp.data.export.rules_cells import FILE
from routeapp.data.export.rules_workbook import Book, amounts
from routeapp.kit import audit, money
from routeapp.kit.sheets import lines, written
from routeapp.kit.snapshot import snapshot
from routeapp.team.queries import business

CHUNK = 256 * 1024


def take_out(*, by: Any = None, at: datetime) -> Iterator[bytes]:
    """Write into the log who took everything out, and return the zip piece by piece.

    At the console nobody is signed in, and nothing is written.
    """
    ours = business()
    if by is not None:
        audit.record("took everything out of", ours, by=by, at=at)
    return _zip(ours, at.astimezone(UTC))


class _Outgoing(io.RawIOBase):
    """A file that keeps what is written to it only until it is sent on."""

    def __init__(self) -> None:
        self.parts: list[bytes] = []
        self.size = 0

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self.parts.append(bytes(data))
        self.size += len(data)
        return len(data)

    def sent(self, least: int = 0) -> Iterator[bytes]:
        """What was written since, once it is worth sending."""
        if self.size > least:
            yield b"".join(self.parts)
            self.parts, self.size = [], 0


def _zip(ours: Any, at: datetime) -> Iterator[bytes]:
    outgoing, book = _Outgoing(), Book()
    rows: dict[str, int] = {}
    lost: list[str] = []
    with snapshot(), ZipFile(outgoing, "w", ZIP_DEFLATED) as archive:  # type: ignore[call-overload]
        listed = queries.tables()
        _write_dictionary(archive, book, listed)
        names = _Names(money.currency(ours.currency).digits)
        for table in listed:
            rows[table.name] = yield from _write_table(table, archive, outgoing, book, names)
            for column in (one for one in table.columns if one.kind is FILE):
                lost += yield from _write_files(table, column, archive, outgoing)
        yield from _write_workbook(archive, outgoing, book)
        about = {
            "format": FORMAT,
            "taken_out_at": at.isoformat(timespec="seconds"),
            "tables_as_of": queries.versions(),
            "business": ours.name,
            "currency": ours.currency,
            "rows": rows,
            "files_not_found": lost,
        }
        archive.writestr(ABOUT, json.dumps(about, indent=2, ensure_ascii=False))
        archive.writestr("READ ME FIRST.txt", READ_ME.format(**about))
    yield from outgoing.sent()


def _write_dictionary(archive: ZipFile, book: Book, listed: list[Table]) -> None:
    rows = list(queries.dictionary(listed))
    archive.writestr(DICTIONARY, "".join(lines(rows)))
    sheet = book.sheet("what is what", rows[0])
    for row in rows[1:]:
        sheet.add(row)
    sheet.close()


class _Names:
    """What stands in the workbook where the tables have minor units and the numbers of other rows."""

    def __init__(self, digits: int) -> None:
        self.amount = amounts(digits)
        self.known: dict[Any, Callable] = {}

    def shown(self, column: Column) -> Callable[[Any], Any]:
        """What to make of a column's values."""
        if column.name.endswith("cents"):
            return self.amount
        called = Table(column.refers).called if column.refers else None
        if called is None:
            return column.write if column.refers else lambda value: value
        if column.refers not in self.known:
            self.known[column.refers] = dict(column.refers._base_manager.values_list("pk", called)).get
        return self.known[column.refers]


def _write_table(
    table: Table, archive: ZipFile, outgoing: _Outgoing, book: Book, names: _Names
) -> Generator[bytes, None, int]:
    """Write a table into its CSV file and its sheet; returns the number of its rows."""
    sheet = book.sheet(table.name, [str(column.field.verbose_name) for column in table.columns])
    writers = [column.write for column in table.columns]
    shown = [names.shown(column) for column in table.columns]
    number = 0

    def rows() -> Iterator[list[str]]:
        nonlocal number
        yield [column.name for column in table.columns]
        for row in table.rows():
            number += 1
            sheet.add(show(value) for show, value in zip(shown, row, strict=True))
            yield [write(value) for write, value in zip(writers, row, strict=True)]

    with archive.open(table.file, "w", force_zip64=True) as entry:
        for line in written(rows()):
            entry.write(line.encode())
            yield from outgoing.sent(CHUNK)
    sheet.close()
    return number


def _write_files(
    table: Table, column: Column, archive: ZipFile, outgoing: _Outgoing
) -> Generator[bytes, None, list[str]]:
    """Put the files in that a column names; returns the names of those that are not where they should be."""
    lost = []
    named = table.model._base_manager.exclude(**{column.name: ""}).order_by("pk")
    for name in named.values_list(column.name, flat=True).iterator():
        entry = ZipInfo(FILES + name)  # stored as it is: photos are compressed already
        try:
            with default_storage.open(name) as photo, archive.open(entry, "w", force_zip64=True) as copy:
                for chunk in photo.chunks(CHUNK):
                    copy.write(chunk)
                    yield from outgoing.sent(CHUNK)
        except FileNotFoundError:
            lost.append(name)
    return lost


def _write_workbook(archive: ZipFile, outgoing: _Outgoing, book: Book) -> Iterator[bytes]:
    with tempfile.TemporaryFile() as made, archive.open(ZipInfo(WORKBOOK), "w", force_zip64=True) as copy:
        book.save(made)
        made.seek(0)
        while chunk := made.read(CHUNK):
            copy.write(chunk)
            yield from outgoing.sent(CHUNK)
