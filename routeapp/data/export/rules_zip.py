"""Opening a zip that somebody brings: whether it is one of ours, whole, and of a size that can be meant."""

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO
from zipfile import BadZipFile, ZipFile

from routeapp.data.export.rules_about import ABOUT, FORMAT

LARGEST_ABOUT = 1024 * 1024
LONGEST_CELL = 16 * 1024 * 1024  # characters; the document of a visit is the longest we write
MOST_TIMES = 200  # what a file may grow by when it is unpacked; ours grow by 4 to 20
FREE_GROWTH = 50 * 1024 * 1024


class NotOurs(ValueError):
    """The zip cannot be brought in; the text says why, for the person who chose it."""


@dataclass(frozen=True)
class Row:
    """A line of a table: its number as spreadsheets count, its cells by column."""

    number: int
    cells: dict[str, str]


class Brought:
    """A zip that was taken out of an installation."""

    def __init__(self, file: BinaryIO, size: int) -> None:
        """Raises NotOurs for anything that is no such zip, or a bomb."""
        try:
            self.archive = ZipFile(file)
            entries = self.archive.infolist()
        except (BadZipFile, OSError, ValueError, NotImplementedError):
            raise NotOurs("This is no zip file, or only the first part of one.") from None
        self.sizes = {entry.filename: entry.file_size for entry in entries}
        if sum(self.sizes.values()) > size * MOST_TIMES + FREE_GROWTH:
            raise NotOurs("This zip would grow far beyond any that is taken out here, so it was not unpacked.")
        self.about = self._read_about()

    def _read_about(self) -> dict[str, Any]:
        if not 0 < self.sizes.get(ABOUT, 0) <= LARGEST_ABOUT:
            raise NotOurs(
                f"This was not taken out of Keyround, or it is only the first part: there is no {ABOUT} in it."
            )
        try:
            about = json.loads(self.opened(ABOUT).read())
            if about["format"] != FORMAT:
                raise NotOurs(f"This file is of format {about['format']}, and this installation reads {FORMAT}.")
            return {name: about[name] for name in ("taken_out_at", "tables_as_of", "rows", "files_not_found")}
        except (ValueError, KeyError, TypeError, RecursionError) as problem:
            if isinstance(problem, NotOurs):
                raise
            raise NotOurs(f"{ABOUT} in this zip was changed and cannot be read.") from None

    def opened(self, name: str) -> io.BufferedReader:
        """An entry to read from. Raises NotOurs, then or while reading, where it is missing or damaged."""
        try:
            return io.BufferedReader(_Entry(self.archive.open(name), name))
        except KeyError:
            raise NotOurs(f"{name} is missing in this zip.") from None
        except (BadZipFile, RuntimeError, NotImplementedError, OSError):
            raise NotOurs(f"{name} in this zip is damaged or locked with a password.") from None

    def rows(self, name: str, columns: list[str]) -> Iterator[Row]:
        """The lines of a table. Raises NotOurs for a table that is missing, damaged or has other columns."""
        csv.field_size_limit(LONGEST_CELL)
        with self.opened(name) as entry:
            reader = csv.reader(_lines(entry, name), strict=True)
            try:
                head = next(reader, [])
                if head != columns:
                    raise NotOurs(f"{name} has other columns than were taken out: {_difference(head, columns)}.")
                for number, cells in enumerate(reader, 2):
                    if len(cells) != len(columns):
                        raise NotOurs(
                            f"{name}, row {number}: {len(cells)} cells where there are {len(columns)} columns."
                        )
                    yield Row(number, dict(zip(columns, cells, strict=True)))
            except csv.Error as problem:
                raise NotOurs(f"{name}, line {reader.line_num}: this is no longer CSV ({problem}).") from None


class _Entry(io.RawIOBase):
    """An entry that tells its damage in words. It never gives more than the zip says: the zip module stops there."""

    def __init__(self, entry: Any, name: str) -> None:
        self.entry, self.name = entry, name

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        try:
            piece = self.entry.read(len(buffer))
        except Exception as problem:  # zlib, the zip module and the disk each have their own; all mean the same here
            raise NotOurs(f"{self.name} in this zip is damaged ({problem}).") from None
        buffer[: len(piece)] = piece
        return len(piece)


def _lines(entry: io.BufferedReader, name: str) -> Iterator[str]:
    """An entry as lines of text, none of them longer than a cell may be."""
    text = io.TextIOWrapper(entry, encoding="utf-8-sig", newline="")
    while True:
        try:
            line = text.readline(LONGEST_CELL)
        except UnicodeDecodeError:
            raise NotOurs(f"{name} is no longer UTF-8 text. Spreadsheets call that “CSV UTF-8”.") from None
        if not line:
            return
        if len(line) == LONGEST_CELL:
            raise NotOurs(f"{name} has a line of more than {LONGEST_CELL:,} characters.")
        yield line


def _difference(found: list[str], wanted: list[str]) -> str:
    missing = [name for name in wanted if name not in found]
    foreign = [name[:40] for name in found if name not in wanted]
    if missing or foreign:
        parts = [("missing", missing), ("unknown", foreign[:10])]
        return "; ".join(f"{word} {', '.join(names)}" for word, names in parts if names)
    return "they stand in another order"
