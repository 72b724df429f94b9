"""From the rows of a sheet to lines that say something, by what a person said the columns mean."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from routeapp.data.imports.rules_meanings import EACH, MEANINGS, METERS
from routeapp.kit.reading import cells as reading
from routeapp.kit.reading.cells import When, order_told_by, text
from routeapp.kit.reading.headings import plain
from routeapp.kit.reading.sheet import Row, Sheet, letter

TOTAL = re.compile(r"(grand |sub-?)?(total|sum|totals|average|mean|summe|gesamt|totaal|totale)\b.*", re.IGNORECASE)
NAMES = ("code", "location", "host", "prize", "model")  # a line without any of these is about nothing
MEASURED = ("cash", *METERS)
SAID = (*MEASURED, "note")  # what a visit can bring


@dataclass(frozen=True)
class SheetPlan:
    """What a person said about one sheet: the row of its heading, and meanings by column (0 is A)."""

    name: str
    heading: int
    columns: dict[int, str]


@dataclass(frozen=True, slots=True)
class Problem:
    """Something about one cell (or row), for the person. Row and column are named as the spreadsheet names them."""

    sheet: str
    row: int
    column: str
    text: str


@dataclass(slots=True)
class Line:
    """What one row says, by meaning. A wide row gives a line for each of its cabinets."""

    sheet: str
    row: int
    values: dict[str, Any]
    column: str = ""

    def get(self, key: str) -> Any:
        return self.values.get(key)

    def problem(self, said: str) -> Problem:
        return Problem(self.sheet, self.row, self.column, said)

    @property
    def is_visit(self) -> bool:
        """A day beside a prize is when it was bought."""
        return "visited_on" in self.values and "prize" not in self.values


@dataclass
class Read:
    """A sheet read to its end."""

    lines: list[Line] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    left_out: list[Problem] = field(default_factory=list)
    dates: dict[str, dict[str, Any]] = field(default_factory=dict)  # the first that tells each order of day and month


def headings(sheet: Sheet, plan: SheetPlan) -> list[Any]:
    return next((cells for number, cells in sheet.rows() if number == plan.heading), [])


def read(sheet: Sheet, plan: SheetPlan, order: str, progress: Callable[[int], Any]) -> Read:
    """Every line below the heading; rows that are sums or empty are left out and named, cells that cannot be read
    are problems, and then their row brings no line."""
    found, above = Read(), headings(sheet, plan)
    for number, cells in sheet.rows():
        if number > plan.heading:
            _read_row(found, sheet, plan, above, (number, cells), order)
            progress(number)
    return found


def _read_row(found: Read, sheet: Sheet, plan: SheetPlan, above: list[Any], row: Row, order: str) -> None:
    number, cells = row
    given = {column: cells[column] for column in plan.columns if column < len(cells)}
    given = {column: cell for column, cell in given.items() if cell is not None and cell != ""}
    if not given:
        return
    if why := _no_line(given, plan, cells):
        found.left_out.append(Problem(plan.name, number, "", why))
        return
    for column, cell in given.items():
        if MEANINGS[plan.columns[column]].reads == "when" and (told := order_told_by(cell)):
            found.dates.setdefault(told, {"sheet": plan.name, "row": number, "cell": str(cell)[:40]})
    values, problems = _values(given, plan, number, order, sheet.from_1904)
    meant = {plan.columns[column].removeprefix(EACH) for column in values}
    if "visited_on" in plan.columns.values() and "visited_on" not in meant and not problems and meant & {*MEASURED}:
        problems = [Problem(plan.name, number, "", "Money or a reading stands here, but no day.")]
    found.problems += problems
    lines = [] if problems else _lines(values, plan, number, above)
    found.lines += [line for line in lines if not line.is_visit or _says_something(line)]
    if lines and not any(_says_something(line) or not line.is_visit for line in lines):
        found.left_out.append(Problem(plan.name, number, "", "It names a visit, but no money, reading or note."))


def _no_line(given: dict[int, Any], plan: SheetPlan, cells: list[Any]) -> str:
    """Why a row is no line at all, in words; empty when it is one."""
    first = next((cell for cell in cells if isinstance(cell, str) and cell.strip()), "")
    if TOTAL.fullmatch(" ".join(first.split()).strip(": ")):
        return f"“{first.strip()[:40]}”: it is a sum of other rows."
    meant = {plan.columns[column] for column in given}
    if not meant & {*NAMES, "visited_on"}:
        return "It names nothing that the numbers in it could belong to; it looks like a sum."
    repeated = [column for column, cell in given.items() if isinstance(cell, str) and _repeats(cell, plan, column)]
    return "It repeats the heading." if len(repeated) > 1 and len(repeated) == len(given) else ""


def _repeats(cell: str, plan: SheetPlan, column: int) -> bool:
    return plain(cell) in MEANINGS[plan.columns[column]].words


def _values(
    given: dict[int, Any], plan: SheetPlan, row: int, order: str, from_1904: bool
) -> tuple[dict[int, Any], list[Problem]]:
    values: dict[int, Any] = {}
    problems = []
    for column, cell in given.items():
        reads = MEANINGS[plan.columns[column]].reads
        try:
            value = reading.when(cell, order, from_1904) if reads == "when" else getattr(reading, reads)(cell)
        except ValueError as problem:
            problems.append(Problem(plan.name, row, letter(column), str(problem)))
            continue
        if value is not None and value != "":
            values[column] = value
    return values, problems


def _lines(values: dict[int, Any], plan: SheetPlan, row: int, above: list[Any]) -> list[Line]:
    own = {plan.columns[column]: value for column, value in values.items() if not _is_wide(plan, column)}
    wide = {column: value for column, value in values.items() if _is_wide(plan, column)}
    if not any(meaning.startswith(EACH) for meaning in plan.columns.values()):
        return [Line(plan.name, row, own)]
    by_code: dict[str, Line] = {}
    for column, value in wide.items():
        code = text(above[column])
        line = by_code.setdefault(code, Line(plan.name, row, {**own, "code": code}, letter(column)))
        line.values[plan.columns[column].removeprefix(EACH)] = value
    return list(by_code.values()) or [Line(plan.name, row, own)]


def _is_wide(plan: SheetPlan, column: int) -> bool:
    return plan.columns[column].startswith(EACH)


def _says_something(line: Line) -> bool:
    return any(line.get(key) is not None for key in SAID)


def days(lines: list[Line]) -> Iterator[date]:
    for line in lines:
        yield from (value.day for value in line.values.values() if isinstance(value, When))
