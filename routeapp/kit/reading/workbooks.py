"""Workbooks. Only values are read: nothing in a workbook runs, and what would unpack without end is refused."""

import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import column_index_from_string
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from routeapp.kit.reading.sheet import MOST_SHEETS, Row, Sheet, Unreadable, limited

MB = 1024 * 1024
MOST_UNPACKED, MOST_TEXTS, MOST_PARTS = 800 * MB, 120 * MB, 2000
MOST_MERGED, MOST_NAMED, OVERLAP = 20_000, 20, 2048

READING: dict[str, Any] = {"read_only": True, "data_only": True, "keep_links": False}

MERGED = re.compile(rb'<(?:\w+:)?mergeCell ref="([A-Z]+)(\d+):([A-Z]+)(\d+)"')
# A formula beside which the program that wrote the file stored no value.
UNCALCULATED = re.compile(
    rb'<(?:\w+:)?c\b[^>]*?\br="([A-Z]+\d+)"[^>]*>\s*<(?:\w+:)?f\b[^>]*?(?:/>|>[^<]*</(?:\w+:)?f>)'
    rb"\s*(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v></(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)


@dataclass
class Scanned:
    """What reading the cells alone does not show: merged ranges, and formulas without a stored value."""

    merged: list[tuple[int, int, int, int]] = field(default_factory=list)  # first row and column, last row and column
    uncalculated: list[str] = field(default_factory=list)


def open_workbook(path: Path) -> list[Sheet]:
    """The sheets of a workbook, hidden ones too. Raises Unreadable."""
    notes = _check_parts(path)
    try:
        with path.open("rb") as file:
            book = load_workbook(file, **READING)
            from_1904 = book.epoch == CALENDAR_MAC_1904
            found = [
                _sheet(path, sheet.title, sheet.sheet_state != "visible", sheet._worksheet_path, from_1904, notes)
                for sheet in book.worksheets[:MOST_SHEETS]
            ]
    except Unreadable:
        raise
    except Exception as problem:  # the library meets broken files with whatever breaks first
        raise Unreadable(
            f"This workbook is damaged and cannot be read ({type(problem).__name__}). Save it anew."
        ) from None
    if not found:
        raise Unreadable("There is no sheet with cells in this workbook.")
    return found


def _check_parts(path: Path) -> list[str]:
    """Refuse what unpacks to more than any spreadsheet we take. The unpacker stops at the sizes that stand here."""
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
    except zipfile.BadZipFile:
        raise Unreadable("This workbook is damaged and cannot be opened. Save it anew, or save it as CSV.") from None
    names = {part.filename for part in parts}
    if "xl/workbook.xml" not in names:
        raise Unreadable("This is no workbook that we can read. Save it as .xlsx or .csv and bring that.")
    texts = sum(part.file_size for part in parts if part.filename == "xl/sharedStrings.xml")
    if sum(part.file_size for part in parts) > MOST_UNPACKED or texts > MOST_TEXTS or len(parts) > MOST_PARTS:
        raise Unreadable(
            "This file unpacks to far more than a spreadsheet of this size should, so it was not opened. "
            "Save the sheet as CSV and bring that."
        )
    macros = "xl/vbaProject.bin" in names
    return ["It carries macros. Only the values in its cells were read; nothing was run."] if macros else []


def _sheet(path: Path, name: str, hidden: bool, part: str, from_1904: bool, notes: list[str]) -> Sheet:
    scanned = _scan(path, part)
    said = list(notes)
    if scanned.uncalculated:
        cells = ", ".join(scanned.uncalculated[:MOST_NAMED])
        said.append(
            f"These cells hold formulas whose results were not saved: {cells}. They count as empty. "
            "Open the file in your spreadsheet program, save it and bring it again."
        )
    if scanned.merged:
        said.append("Merged cells were read as if each of them held the value.")
    return Sheet(name, lambda: limited(_rows(path, name, scanned)), hidden, from_1904, said)


def _scan(path: Path, part: str) -> Scanned:
    merged: dict[tuple[int, int, int, int], None] = {}
    uncalculated: dict[str, None] = {}
    rest = b""
    with zipfile.ZipFile(path) as archive, archive.open(part) as file:
        while chunk := file.read(MB):
            text = rest + chunk
            rest = text[-OVERLAP:]  # what is cut in two is whole in the next round; what is seen twice counts once
            merged |= dict.fromkeys(_merged(text))
            uncalculated |= dict.fromkeys(_uncalculated(text))
            if len(merged) > MOST_MERGED:
                raise Unreadable("This sheet has too many merged cells. Save it as CSV and bring that.")
    return Scanned(sorted(merged), list(uncalculated))


def _merged(text: bytes) -> Iterator[tuple[int, int, int, int]]:
    for left, top, right, bottom in MERGED.findall(text) if b"mergeCell" in text else ():
        yield int(top), _column(left), int(bottom), _column(right)


def _column(name: bytes) -> int:
    return column_index_from_string(name.decode()) - 1


def _uncalculated(text: bytes) -> list[str]:
    found = UNCALCULATED.findall(text) if b"<f" in text or b":f" in text else []
    return [cell.decode() for cell in found]


def _rows(path: Path, name: str, scanned: Scanned) -> Iterator[Row]:
    try:
        with path.open("rb") as file:
            sheet = load_workbook(file, **READING)[name]
            sheet.reset_dimensions()  # what a file says about its own size may be wrong
            rows = ((number, list(cells)) for number, cells in enumerate(sheet.iter_rows(values_only=True), 1))
            yield from _unmerged(rows, scanned.merged) if scanned.merged else rows
    except (zipfile.BadZipFile, ValueError, KeyError, SyntaxError) as problem:
        raise Unreadable(f"The sheet “{name}” is damaged and cannot be read to its end. Save it anew.") from problem


def _unmerged(rows: Iterator[Row], ranges: list[tuple[int, int, int, int]]) -> Iterator[Row]:
    """Rows in which every cell of a merged range has the value of its first."""
    open_ranges: list[tuple[int, int, int, Any]] = []  # last row, first and last column, value
    waiting = ranges[::-1]
    for number, cells in rows:
        open_ranges = [one for one in open_ranges if one[0] >= number]
        while waiting and waiting[-1][0] <= number:
            _, left, bottom, right = waiting.pop()
            open_ranges.append((bottom, left, right, cells[left] if left < len(cells) else None))
        for _, left, right, value in open_ranges:
            cells += [None] * (right + 1 - len(cells))
            cells[left : right + 1] = [value] * (right + 1 - left)
        yield number, cells
