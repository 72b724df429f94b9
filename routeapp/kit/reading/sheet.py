"""A sheet as rows of cells, whatever file it came from, and the refusal of files that cannot be read."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

MOST_ROWS, MOST_COLUMNS, MOST_SHEETS = 200_000, 300, 50

Row = tuple[int, list[Any]]  # its number as the spreadsheet shows it, and its cells


class Unreadable(Exception):
    """The file cannot be read. The text is a sentence for the person."""


@dataclass(frozen=True)
class Sheet:
    """`rows` reads the sheet anew each time; `notes` are sentences about how it was read."""

    name: str
    rows: Callable[[], Iterator[Row]]
    hidden: bool = False
    from_1904: bool = False
    notes: list[str] = field(default_factory=list)


def limited(rows: Iterator[Row]) -> Iterator[Row]:
    """Rows that hold something, without cells beyond the widest sheet we take. Refuses more rows than we take."""
    taken = 0
    for number, cells in rows:
        if all(cell is None or cell == "" for cell in cells):
            continue
        taken += 1
        if taken > MOST_ROWS:
            raise Unreadable(f"The sheet has more than {MOST_ROWS:,} rows. Divide it and bring the parts one by one.")
        yield number, cells[:MOST_COLUMNS]


def letter(column: int) -> str:
    """The name of a column as spreadsheets show it: 0 is A, 26 is AA."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(65 + rest) + name
    return name
