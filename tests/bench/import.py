"""100,000 rows of past visits brought in, against reading the same file and inserting its raw rows at once.

A row becomes about six with their indexes, so that no import can be as fast as that: the floor is how long it takes to
insert all rows that an import made into the same tables, and nothing else.
"""

import csv
import time
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.core.files import File
from django.db import connection, transaction
from openpyxl import Workbook, load_workbook

from machines.models import Reading
from routeapp.data.imports import actions, queries
from routeapp.data.imports.actions_bring import bring
from routeapp.data.imports.models import Brought, SheetImport
from routeapp.kit import clock
from routeapp.kit.progress import Told
from routeapp.models import CashMove, ServiceEntry, Visit
from tests import factories
from tests.bench.memory import timed

LOCATIONS, EACH, WEEKS = 100, 4, 250
ROWS = LOCATIONS * EACH * WEEKS
FIRST = date(2021, 1, 4)
MADE = (Visit, ServiceEntry, Reading, CashMove, LogEntry, Brought)  # all that is made for each row or visit
HEADING = ["Date", "Cabinet", "Location", "Cash", "Plays meter", "Note"]


def run() -> Iterator[dict[str, Any]]:
    owner = factories.person("ines", "owner")
    for kind, write, plain in (("csv", write_csv, read_csv), ("xlsx", write_xlsx, read_xlsx)):
        path = Path(settings.DATA) / f"visits.{kind}"
        write(path, kind)
        bare, memory = timed(lambda plain=plain, path=path: insert(plain(path)))
        yield from measured(owner, path, bare, memory)
    made, seconds = floor()
    yield {"case": f"floor: {made:,} rows of both files into the same tables", "seconds": round(seconds, 1)}


def measured(owner: Any, path: Path, bare: float, bare_memory: int) -> Iterator[dict[str, Any]]:
    one = prepared(owner, path)
    for case, dry in (("checked", True), ("brought in", False)):
        found: dict[str, Any] = {}

        def work(dry: bool = dry, found: dict[str, Any] = found) -> None:
            found |= bring(sheet_import=one, dry=dry, progress=Told(one), by=owner, at=clock.now())

        seconds, memory = timed(work)
        if found.get("problem_count") != 0 or found["made"]["visits"] != LOCATIONS * WEEKS:
            raise RuntimeError(f"Not all rows were brought in: {found}")
        yield {
            "case": f"{ROWS:,} rows of {path.suffix[1:]} {case}",
            "ours": round(ROWS / seconds),
            "baseline": round(ROWS / bare),
            "times": round(seconds / bare, 1),
            "unit": "rows/s",
            "peak_mb": memory,
            "baseline_peak_mb": bare_memory,
        }


def floor() -> tuple[int, float]:
    """How many rows the imports made, and the seconds that inserting them once more takes; rolled back."""
    with transaction.atomic(), connection.cursor() as cursor:
        rows = {model._meta.db_table: list(cursor.execute(f"SELECT * FROM {model._meta.db_table}")) for model in MADE}
        for table in reversed(rows):
            cursor.execute(f"DELETE FROM {table}")
        start = time.perf_counter()
        for table, found in rows.items():
            cursor.executemany(f"INSERT INTO {table} VALUES ({', '.join(['%s'] * len(found[0]))})", found)
        seconds = time.perf_counter() - start
        transaction.set_rollback(True)
    return sum(map(len, rows.values())), seconds


def prepared(owner: Any, path: Path) -> SheetImport:
    """The file taken in, with its columns as they are guessed."""
    with path.open("rb") as file:
        one = actions.take_file(uuid=uuid4(), file=File(file, path.name), by=owner, at=clock.now())
    (looked,) = queries.look(one)
    columns = {str(column): key for column, key in looked.plan.columns.items()}
    sheet = {"name": looked.sheet.name, "heading": looked.plan.heading, "columns": columns}
    plan = {"sheets": [sheet], "model": "Harbour Claw", "price_cents": 100, "banked": True}
    return actions.say(sheet_import=one, plan=plan, by=owner, at=clock.now())


def lines(mark: str) -> Iterator[list[Any]]:
    """A row per cabinet and week; `mark` keeps the cabinets of two files apart."""
    yield HEADING
    for week in range(WEEKS):
        day = FIRST + timedelta(weeks=week)
        for cabinet in range(LOCATIONS * EACH):
            cents = 2_000 + (cabinet * 37 + week * 11) % 9_000
            where = f"{mark} {chr(65 + cabinet // EACH % 26)} Street {cabinet // EACH}"
            yield [day, f"{mark}-{cabinet:04}", where, cents / 100, (week + 1) * 60 + cabinet % 7, ""]


def write_csv(path: Path, mark: str) -> None:
    with path.open("w", newline="") as file:
        csv.writer(file).writerows(lines(mark))


def write_xlsx(path: Path, mark: str) -> None:
    book = Workbook(write_only=True)
    sheet = book.create_sheet("Visits")
    for line in lines(mark):
        sheet.append(line)
    book.save(path)


def read_csv(path: Path) -> Iterator[tuple]:
    with path.open(newline="") as file:
        yield from map(tuple, csv.reader(file))


def read_xlsx(path: Path) -> Iterator[tuple]:
    book = load_workbook(path, read_only=True)
    for row in book.active.iter_rows(values_only=True):
        yield tuple(str(cell) for cell in row)
    book.close()


def insert(rows: Iterator[tuple]) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("CREATE TABLE IF NOT EXISTS plain_rows (a, b, c, d, e, f)")
        cursor.executemany("INSERT INTO plain_rows VALUES (%s, %s, %s, %s, %s, %s)", rows)
