"""Reads about imports: how far one is, what its file looks like, what was said about such files before."""

import hashlib
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from locations.sites.models import Location
from machines.cabinets.models import CabinetModel, Machine
from routeapp.data.imports.models import WORKING, RememberedColumns, SheetImport, State
from routeapp.data.imports.rules_lines import SheetPlan
from routeapp.data.imports.rules_meanings import guess, heading_row
from routeapp.kit.progress import is_silent
from routeapp.kit.reading.files import open_file
from routeapp.kit.reading.headings import signature
from routeapp.kit.reading.sheet import Row, Sheet

SHOWN_ROWS, SAMPLES = 60, 3


def imports() -> list[SheetImport]:
    return list(SheetImport.objects.select_related("by", "undone_by"))


def earlier_of(sheet_import: SheetImport) -> SheetImport | None:
    """The same file, brought in before."""
    same = SheetImport.objects.filter(digest=sheet_import.digest, state=State.DONE).exclude(pk=sheet_import.pk)
    return same.first()


def is_stopped(sheet_import: SheetImport) -> bool:
    """Whether it was at work when the server ended."""
    return sheet_import.state in WORKING and is_silent(sheet_import)


def not_ready(sheet_import: SheetImport) -> str:
    """Why a checked file cannot be brought in yet; empty when it can."""
    if sheet_import.result.get("questions"):
        return "A question is still open."
    if sheet_import.result.get("problem_count") and not sheet_import.plan.get("without_wrong"):
        return "Some rows are wrong. Mend them, or leave them out."
    if "made" not in sheet_import.result:
        return "It was not checked to its end."
    return ""


def known_codes() -> set[str]:
    return set(Machine.objects.values_list("code", flat=True))


def location_names() -> list[str]:
    return list(Location.objects.values_list("name", flat=True))


def only_model() -> str:
    """The model of a business that has one."""
    names = list(CabinetModel.objects.values_list("name", flat=True)[:2])
    return names[0] if len(names) == 1 else ""


@dataclass(frozen=True)
class Looked:
    """The top of a sheet, with what is said about it by default."""

    sheet: Sheet
    top: list[Row]
    plan: SheetPlan
    remembered: RememberedColumns | None
    take: bool

    def headings(self, heading: int) -> list[Any]:
        return next((cells for number, cells in self.top if number == heading), [])

    def samples(self, heading: int, column: int) -> list[Any]:
        below = (cells[column] for number, cells in self.top if number > heading and column < len(cells))
        return list(islice(dict.fromkeys(cell for cell in below if cell not in (None, "")), SAMPLES))


def look(sheet_import: SheetImport) -> list[Looked]:
    """The tops of all sheets of a file. Raises Unreadable."""
    codes = known_codes()
    sheets = open_file(Path(sheet_import.file.path), sheet_import.name)
    return [_look_at(sheet, codes, alone=len(sheets) == 1) for sheet in sheets]


def _look_at(sheet: Sheet, codes: set[str], alone: bool) -> Looked:
    top = list(islice(sheet.rows(), SHOWN_ROWS))
    heading = heading_row(top, codes)
    above = next((cells for number, cells in top if number == heading), [])
    remembered = RememberedColumns.objects.filter(signature=digest_of(above)).first() if above else None
    columns = {int(at): key for at, key in remembered.columns.items()} if remembered else guess(above, codes)
    take = not sheet.hidden and (alone or bool(columns)) and len(top) > 1
    return Looked(sheet, top, SheetPlan(sheet.name, heading, columns), remembered, take)


def digest_of(above: list[Any]) -> str:
    return hashlib.sha256(signature(above).encode()).hexdigest()
