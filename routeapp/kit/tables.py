"""Lists that people filter, sort and take out as a file. Columns are declared once, for the page and for the file.

The address says what is shown: `q` what is looked for, `sort` a column (`-` before it: downwards), `page`, and
`as=csv` for the same rows as a file, all of them, in the same order.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from functools import reduce
from math import ceil
from operator import or_
from typing import Any
from warnings import warn
from zoneinfo import ZoneInfo

from django.core.paginator import UnorderedObjectListWarning
from django.db.models import F, Q, QuerySet
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from routeapp.kit import money, sheets
from routeapp.kit.htmx import page
from routeapp.kit.people import called

MOST_WORDS = 8  # of a search; a pasted page would make a query no database takes
LAST_PAGE = 10_000
ADDRESS = ("q", "sort", "page", "as")


@dataclass(frozen=True)
class Column:
    """`value` is a path as templates write it ("model.name"), or a function of the row; `order` is what the database
    orders by, where that is another path than the value's, or a function of rows from elsewhere; False: there is no
    order.

    Kinds: text, count, percent, cash and over_short (minor units), moment, day, state, and do: a button no file has.
    """

    name: str
    label: str
    value: str | Callable[[Any], Any]
    kind: str = "text"
    order: Any = ""
    link: Callable[[Any], str] | None = None
    shape: Callable[[Any], str] | None = None  # of a state: good, bad, warn or none
    zone: str = ""  # of a moment: the path to the name of its time zone, where that is not the business's
    adds_up: bool = False  # whether the page shows a sum, of rows that are not in the database

    def of(self, row: Any) -> Any:
        return self.value(row) if callable(self.value) else _follow(row, self.value)

    def zone_of(self, row: Any) -> str:
        return (_follow(row, self.zone) or "") if self.zone else ""

    def cell(self, row: Any) -> "Cell":
        link, shape = self.link, self.shape
        return Cell(self, self.of(row), link(row) if link else "", shape(row) if shape else "", self.zone_of(row))

    @property
    def is_figure(self) -> bool:
        return self.kind in ("count", "percent", "cash", "over_short")

    def ordering(self, downwards: bool) -> Any:
        """For the database. Text goes by its letters, capital or not; what is not there comes last."""
        by = self.order or str(self.value).replace(".", "__")
        if isinstance(by, str):
            by = Lower(by) if self.kind == "text" else F(by)
        return by.desc(nulls_last=True) if downwards else by.asc(nulls_last=True)


def _follow(row: Any, path: str) -> Any:
    """What a template finds under a path; None where there is nothing."""
    found = row
    for name in path.split("."):
        found = getattr(found, name, None)
    return found() if callable(found) else found


def person(path: str) -> Callable[[Any], str]:
    """The value of a column that names a person, or nobody who was signed in."""

    def name(row: Any) -> str:
        found = _follow(row, path)
        return called(found) if found else ""

    return name


@dataclass(frozen=True)
class Cell:
    column: Column
    value: Any
    link: str = ""
    shape: str = ""
    zone: str = ""


@dataclass(frozen=True)
class Table:
    name: str  # of the file
    columns: tuple[Column, ...]
    find: tuple[str, ...] = ()  # what the database looks through; rows from elsewhere are looked through by their text
    hint: str = ""  # what can be looked for, in the empty box
    rows_a_page: int = 50
    mark: str = ""  # an attribute data-… that gives scripts each row's number
    endless: bool = False  # too long to be counted or sorted by anything but its own order
    brief: bool = False  # on phones only the first two figures of a row stand there until all are asked for

    def answer(self, request: HttpRequest, template: str, rows: Any, **context: Any) -> HttpResponse:
        """The page with the rows asked for, its `rows` alone for htmx, or all of them as a file.

        `rows` are from the database or not, or what finds them by a text.
        """
        shown = self.shown(request.GET, rows)
        if request.GET.get("as") == "csv":
            return sheets.download(shown.lines(), self.name)
        return page(request, template, {"table": shown, **context}, part="rows")

    def shown(self, address: Any, rows: Any) -> "Shown":
        text = address.get("q", "").replace("\0", " ").strip()[:80]
        wish = address.get("sort", "")
        column = next((one for one in self.sortable if one.name == wish.removeprefix("-")), None)
        if callable(rows):
            found = rows(text)
        else:
            found = matching(rows, text, self.find) if isinstance(rows, QuerySet) else self._matching(rows, text)
        if column:
            found = _in_order(found, column, wish.startswith("-"))
        if isinstance(found, QuerySet) and not found.ordered:
            warn(f"{self.name}: rows in no order, so pages may repeat or leave out some", UnorderedObjectListWarning, 3)
        number = address.get("page", "")
        return Shown(
            self, found, text, wish if column else "", int(number) if number.isdecimal() and len(number) < 9 else 1
        )

    @property
    def sortable(self) -> tuple[Column, ...]:
        return () if self.endless else tuple(one for one in self.columns if one.order is not False and one.kind != "do")

    def _matching(self, rows: Iterable[Any], text: str) -> list[Any]:
        words = text.casefold().split()
        return [row for row in rows if all(word in self._text(row) for word in words)] if words else list(rows)

    def _text(self, row: Any) -> str:
        return " ".join(str(one.of(row)) for one in self.columns if one.kind in ("text", "state")).casefold()


def words_in(text: str) -> list[str]:
    """What is looked for, word by word."""
    return text.replace("\0", " ").split()[:MOST_WORDS]


def matching(rows: QuerySet, text: str, paths: Iterable[str]) -> QuerySet:
    """The rows that have every word of `text` in one of these columns."""
    for word in words_in(text):
        rows = rows.filter(reduce(or_, (Q(**{f"{path}__icontains": word}) for path in paths)))
    return rows


def _in_order(rows: Any, column: Column, downwards: bool) -> Any:
    if isinstance(rows, QuerySet):
        return rows.order_by(column.ordering(downwards), "pk")
    by = column.order if callable(column.order) else column.of
    there = [row for row in rows if by(row) is not None]
    there.sort(key=lambda row: _comparable(by(row)), reverse=downwards)
    return there + [row for row in rows if by(row) is None]


def _comparable(value: Any) -> Any:
    return value.casefold() if isinstance(value, str) else value


@dataclass
class Shown:
    """A table as somebody asked for it: what the page and the file are made of."""

    table: Table
    found: Any  # all rows that fit, in order
    text: str
    sort: str
    number: int
    count: int | None = None
    more: bool = False
    rows: list[Any] = field(default_factory=list)

    def __post_init__(self) -> None:
        size = self.table.rows_a_page
        if not self.table.endless:
            self.count = self.found.count() if isinstance(self.found, QuerySet) else len(self.found)
        last = LAST_PAGE if self.count is None else ceil(self.count / size)
        self.number = max(1, min(self.number, last))
        # One row more than shown tells whether there is a next page.
        self.rows = list(self.found[(self.number - 1) * size : self.number * size + 1])
        self.more, self.rows = len(self.rows) > size, self.rows[:size]

    def __bool__(self) -> bool:
        return bool(self.rows)

    def cells(self) -> Iterator[tuple[Any, list[Cell]]]:
        for row in self.rows:
            yield row, [one.cell(row) for one in self.table.columns]

    def heads(self) -> Iterator[tuple[Column, str, str]]:
        """Each column, how it is sorted now, and what its link asks for: first upwards, but figures downwards."""
        for one in self.table.columns:
            downwards = one.is_figure or one.kind == "moment"
            first, second = (f"-{one.name}", one.name) if downwards else (one.name, f"-{one.name}")
            now = {one.name: "ascending", f"-{one.name}": "descending"}.get(self.sort, "")
            yield one, now, (second if self.sort == first else first) if one in self.table.sortable else ""

    def sums(self) -> list[Cell] | None:
        """What the columns that add up come to over all rows that fit."""
        if isinstance(self.found, QuerySet) or not any(one.adds_up for one in self.table.columns):
            return None
        return [
            Cell(one, sum(one.of(row) or 0 for row in self.found) if one.adds_up else None)
            for one in self.table.columns
        ]

    @property
    def by(self) -> str:
        """The name of the column it is sorted by."""
        return self.sort.removeprefix("-")

    @property
    def first(self) -> int:
        return (self.number - 1) * self.table.rows_a_page + 1

    @property
    def last(self) -> int:
        return self.first + len(self.rows) - 1

    @property
    def before(self) -> int:
        return self.number - 1

    @property
    def after(self) -> int:
        return self.number + 1 if self.more else 0

    def lines(self) -> Iterator[list[Any]]:
        """All rows that fit, plainly: for a file."""
        columns = [one for one in self.table.columns if one.kind != "do"]
        digits, zone = money.currency(money.active()).digits, timezone.get_current_timezone_name()
        rows = self.found.iterator(chunk_size=1000) if isinstance(self.found, QuerySet) else iter(self.found)

        def lines() -> Iterator[list[Any]]:
            yield [one.label for one in columns]
            for row in rows:
                yield [_plain(one.of(row), one.kind, digits, one.zone_of(row) or zone) for one in columns]

        return lines()


def _plain(value: Any, kind: str, digits: int, zone: str) -> Any:
    if kind in ("cash", "over_short") and value is not None:
        return Decimal(value).scaleb(-digits)
    if isinstance(value, datetime):
        return value.astimezone(ZoneInfo(zone)).isoformat(timespec="minutes")
    return value
