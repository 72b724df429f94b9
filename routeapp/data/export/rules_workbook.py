"""The same tables as a workbook to look at: amounts in whole units, moments as dates, names instead of numbers.

Rows go to disk as they come, so that years of them need no memory. A workbook is not brought in again; the CSV is.
"""

import json
import re
from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import IO, Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

ROWS_A_SHEET = 1_048_575  # below the heading; the file format's own limit (ECMA-376)
LONGEST_TEXT = 32_767  # characters a cell takes (the same)
LARGEST_NUMBER = 10**15  # beyond it spreadsheets round
UNSEEN = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")  # signs XML cannot hold
CUT = "… (the CSV file has all of it)"


def plain(value: Any) -> Any:
    """A value as a cell can hold it: a number, a date, or text that is never a formula."""
    if value is None or isinstance(value, (date, time, Decimal, float)) and not isinstance(value, datetime):
        return value
    if isinstance(value, datetime):
        return value.astimezone(UTC).replace(tzinfo=None)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) and abs(value) < LARGEST_NUMBER:
        return value
    text = UNSEEN.sub(
        "\ufffd", json.dumps(value, ensure_ascii=False) if isinstance(value, (dict, list)) else str(value)
    )
    return text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - len(CUT)] + CUT


def amounts(digits: int) -> Callable[[int | None], Decimal | None]:
    """Turns minor units into whole ones."""
    return lambda cents: None if cents is None else Decimal(cents).scaleb(-digits)


class Book:
    """A workbook written from the first row to the last, sheet after sheet."""

    def __init__(self) -> None:
        self.book = Workbook(write_only=True)

    def sheet(self, title: str, headings: Iterable[str]) -> "Sheet":
        return Sheet(self.book, title, list(headings))

    def save(self, file: IO[bytes]) -> None:
        self.book.save(file)


class Sheet:
    """One table; what does not fit on a sheet goes on on the next one."""

    def __init__(self, book: Workbook, title: str, headings: list[str]) -> None:
        self.book, self.title, self.headings, self.rows, self.part = book, title, headings, 0, 1
        self._begin(title)

    def add(self, row: Iterable[Any]) -> None:
        if self.rows == ROWS_A_SHEET:
            self.rows, self.part = 0, self.part + 1
            self.page.close()
            self._begin(f"{self.title[:26]} {self.part}")
        self.rows += 1
        self.page.append([self._cell(value) for value in row])

    def close(self) -> None:
        self.page.close()

    def _begin(self, title: str) -> None:
        self.page = self.book.create_sheet(title[:31])
        self.page.freeze_panes = "A2"
        heads = [self._cell(heading) for heading in self.headings]
        for head in heads:
            head.font = Font(bold=True)
        self.page.append(heads)

    def _cell(self, value: Any) -> Any:
        value = plain(value)
        if not isinstance(value, str):
            return value
        cell = WriteOnlyCell(self.page)
        cell._value, cell.data_type = value, "s"  # as given: left to itself, “=…” becomes a formula and “#N/A” an error
        return cell
