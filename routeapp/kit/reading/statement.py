"""A statement of somebody who holds our money (a bank, a card processor): one sheet, read by what a person said its
columns mean. No provider's layout is known here; what was said is recognised by the headings the next time.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from routeapp.kit.progress import Tell, nobody
from routeapp.kit.reading import cells as cells_of
from routeapp.kit.reading.cells import DAY_FIRST, MONTH_FIRST, order_told_by
from routeapp.kit.reading.files import open_file
from routeapp.kit.reading.headings import Vocabulary, heading_row, signature
from routeapp.kit.reading.moments import moment
from routeapp.kit.reading.sheet import Row, Sheet, Unreadable, letter

SHOWN_ROWS, SAMPLES = 60, 3
DAY, CLOCK, MOMENT = "day", "clock", "moment"  # the two meanings that together make a line's moment
UNKNOWN = "?"  # the order of day and month where the sheet does not tell it
MOST_PROBLEMS = 200
KEPT_CELLS, TOLD_EVERY = 2000, 500


@dataclass(frozen=True)
class Said:
    """What a person said about a sheet. `columns` are meanings by column (0 is A); `zone` is the name of the time
    zone its moments are in, `order` what stands first where day and month are both numbers."""

    heading: int
    columns: dict[int, str]
    zone: str
    order: str = ""


@dataclass(frozen=True)
class Look:
    """The top of a statement, and the row that is probably its heading."""

    sheet: Sheet
    top: list[Row]
    heading: int

    def above(self, heading: int) -> list[Any]:
        return next((cells for number, cells in self.top if number == heading), [])

    def samples(self, heading: int, column: int) -> list[Any]:
        below = (cells[column] for number, cells in self.top if number > heading and column < len(cells))
        return list(islice(dict.fromkeys(cell for cell in below if cell not in (None, "")), SAMPLES))

    def signature(self, heading: int) -> str:
        return signature(self.above(heading))[:500]


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a cell (or row), in words. Row and column are named as the spreadsheet names them."""

    row: int
    column: str
    text: str


@dataclass(frozen=True, slots=True)
class Line:
    """What one row says, by meaning; its moment (if the sheet has days) by MOMENT."""

    row: int
    values: dict[str, Any]


@dataclass
class Read:
    """A statement read to its end; the first problems are kept, all are counted."""

    lines: list[Line] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    wrong: int = 0

    def refuse(self, row: int, column: str, text: str) -> None:
        self.wrong += 1
        if self.wrong <= MOST_PROBLEMS:
            self.problems.append(Problem(row, column, text))


def look(path: Path, name: str, vocabulary: Vocabulary) -> Look:
    """The top of the first sheet that holds something below a heading. Raises Unreadable."""
    for sheet in open_file(path, name):
        top = list(islice(sheet.rows(), SHOWN_ROWS))
        if len(top) > 1 and not sheet.hidden:
            return Look(sheet, top, heading_row(top, lambda cells: len(vocabulary.guess(cells))))
    raise Unreadable("Nothing stands in it below a row of headings.")


def below(sheet: Sheet, heading: int) -> Iterator[Row]:
    return ((number, cells) for number, cells in sheet.rows() if number > heading)


def order_of(sheet: Sheet, said: Said) -> str:
    """What stands first in the days of a sheet, day or month, as far as they tell: empty where both can be meant by
    none of them, UNKNOWN where both can and nothing tells which."""
    columns = [column for column, meaning in said.columns.items() if meaning == DAY]
    told = {order_told_by(cells[at]) for _, cells in below(sheet, said.heading) for at in columns if at < len(cells)}
    found = [order for order in (DAY_FIRST, MONTH_FIRST) if order in told]
    return found[0] if len(found) == 1 else UNKNOWN if told - {""} else ""


def read(sheet: Sheet, said: Said, vocabulary: Vocabulary, told: Tell = nobody) -> Read:
    """Every line below the heading; a row with a cell that cannot be read is a problem and brings none."""
    found, zone = Read(), ZoneInfo(said.zone)
    reads = {  # what a cell says is worked out once: amounts, readers and kinds come again and again
        column: lru_cache(KEPT_CELLS, typed=True)(getattr(cells_of, vocabulary.meanings[key].reads))
        for column, key in said.columns.items()
        if key not in (DAY, CLOCK)
    }
    day = next((column for column, key in said.columns.items() if key == DAY), None)
    clock = next((column for column, key in said.columns.items() if key == CLOCK), None)
    for number, cells in below(sheet, said.heading):
        if number % TOLD_EVERY == 0:
            told(f"Reading row {number:,}")
        before, values = found.wrong, {}
        for column, read_cell in reads.items():
            try:
                values[said.columns[column]] = read_cell(cells[column]) if column < len(cells) else None
            except ValueError as problem:
                found.refuse(number, letter(column), str(problem))
        if day is not None:
            try:
                values[MOMENT] = _moment(cells, day, clock, zone, said.order)
            except ValueError as problem:
                found.refuse(number, letter(day), str(problem))
        if found.wrong == before:
            found.lines.append(Line(number, values))
    return found


def _moment(cells: list[Any], day: int, clock: int | None, zone: ZoneInfo, order: str) -> datetime | None:
    at = cells[day] if day < len(cells) else None
    return moment(at, cells[clock] if clock is not None and clock < len(cells) else None, zone, order)
