"""Tables as CSV files that spreadsheets open without running anything a stranger typed."""

import csv
from collections.abc import Iterable, Iterator
from typing import Any

from django.http import StreamingHttpResponse
from django.utils.http import content_disposition_header

BYTE_ORDER_MARK = "\ufeff"  # without it spreadsheets take UTF-8 for another encoding
STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")
MARK = "'"


def guarded(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula, marked as text. Numbers stay numbers, also below zero."""
    return f"{MARK}{cell}" if isinstance(cell, str) and cell.startswith((*STARTS_A_FORMULA, MARK)) else cell


def unguarded(cell: str) -> str:
    """What `guarded` was given. Text that begins with the mark itself carries a second one, so nothing is lost."""
    return cell.removeprefix(MARK)


class _Line:
    """A file that hands each line straight on."""

    def write(self, text: str) -> str:
        return text


def written(rows: Iterable[Iterable[Any]]) -> Iterator[str]:
    """Rows as the lines of a file, of cells that are guarded where they have to be."""
    writer = csv.writer(_Line())
    yield BYTE_ORDER_MARK
    for row in rows:
        yield writer.writerow(row)


def lines(rows: Iterable[Iterable[Any]]) -> Iterator[str]:
    return written([guarded(cell) for cell in row] for row in rows)


def download(rows: Iterable[Iterable[Any]], name: str) -> StreamingHttpResponse:
    """Rows as a file to keep, sent line by line."""
    response = StreamingHttpResponse(lines(rows), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = content_disposition_header(True, f"{' '.join(name.split())}.csv")
    return response
