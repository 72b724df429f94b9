"""Running through a file: the dry run and the real one are the same, but for its end. All or nothing."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import asdict, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from django.db import transaction

from routeapp.data.imports import queries
from routeapp.data.imports.actions_run import Run
from routeapp.data.imports.actions_stays import add_stays_from_visits, write_stays
from routeapp.data.imports.actions_stock import write_prizes
from routeapp.data.imports.actions_things import write_named
from routeapp.data.imports.actions_visits import write_visits
from routeapp.data.imports.models import Brought, SheetImport
from routeapp.data.imports.rules_alike import groups
from routeapp.data.imports.rules_lines import Line, Read, days, read
from routeapp.data.imports.rules_names import code_of
from routeapp.data.imports.rules_plan import Plan, from_json
from routeapp.kit.reading.cells import DAY_FIRST, MONTH_FIRST, When, when
from routeapp.kit.reading.files import open_file
from routeapp.kit.reading.sheet import Sheet
from routeapp.team.queries import business

MOST_NAMED = 300  # problems and remarks that are kept; the rest is counted
Progress = Callable[..., None]


def bring(
    *,
    sheet_import: SheetImport,
    dry: bool,
    progress: Progress,
    by: Any,
    at: datetime,
    settle: Callable[[dict[str, Any]], None] = lambda result: None,
) -> dict[str, Any]:
    """Read a file and write what it says, or with `dry` only see what would come of it; returns what was found.

    Nothing at all is written where a question is open or a row is wrong, unless wrong rows were to be left out.
    `settle` is told what was found before all of it is kept. Only while writing are others kept from saving.
    Raises Unreadable.
    """
    plan = from_json(sheet_import.plan)
    sheets = _sheets(sheet_import, plan)
    # Whatever the order of day and month, the names in the rows are the same, so all questions come at once.
    found = _read(sheets, plan if plan.order else replace(plan, order=DAY_FIRST), progress)
    if not plan.order and set(found.dates) in ({DAY_FIRST}, {MONTH_FIRST}):  # no date could be read in two ways
        plan = replace(plan, order=next(iter(found.dates)))
        found = _read(sheets, plan, progress) if plan.order == MONTH_FIRST else found
    if questions := _questions(plan, found):
        return {"questions": questions, "notes": _notes(sheets)}
    run = Run(by=by, at=at, zone=business().time_zone, plan=plan, sheet_import=sheet_import)
    wrong = _wrong_rows(sheet_import) if plan.without_wrong and not dry else set()
    with transaction.atomic():
        write(run, [line for line in found.lines if (line.sheet, line.row) not in wrong], progress)
        refused = bool(run.problems or (found.problems and not plan.without_wrong))
        told = _told(run, found) if run.problems or not wrong else _told(run, found) | _as_checked(sheet_import)
        result = {**told, "written": not (dry or refused), "notes": _notes(sheets)}
        if dry or refused:
            transaction.set_rollback(True)
        else:
            Brought.objects.bulk_create(run.brought, batch_size=5000)
            settle(result)
    return result


def write(run: Run, lines: list[Line], progress: Progress) -> None:
    """Write all that lines say: what they name first, then where it stood, then what happened there."""
    _first_days(run, lines)
    good: list[Line] = []
    for number, line in enumerate(lines, 1):
        if write_named(run, line):
            good.append(line)
        progress("Cabinets, hosts and locations", number, len(lines))
    visits = [line for line in good if line.is_visit and _names_a_cabinet(run, line)]
    add_stays_from_visits(run, [(code_of(line.get("code")), line) for line in visits])
    write_stays(run)
    write_prizes(run, [line for line in good if line.get("prize")])
    write_visits(run, visits, lambda done, of: progress("Past visits", done, of))


def _first_days(run: Run, lines: list[Line]) -> None:
    run.first_day = min(days(lines), default=None)
    for line in lines:
        said = [value.day for value in line.values.values() if isinstance(value, When)]
        if said and line.get("code"):
            code = str(line.get("code")).strip().upper()
            run.first_days[code] = min(*said, run.first_days.get(code, said[0]))


def _names_a_cabinet(run: Run, line: Line) -> bool:
    if not line.get("code"):
        run.problems.append(line.problem("This visit does not say at which cabinet."))
    return bool(line.get("code"))


def _sheets(sheet_import: SheetImport, plan: Plan) -> list[Sheet]:
    taken = {one.name for one in plan.sheets}
    found = [one for one in open_file(Path(sheet_import.file.path), sheet_import.name) if one.name in taken]
    return sorted(found, key=lambda one: [sheet.name for sheet in plan.sheets].index(one.name))


def _read(sheets: list[Sheet], plan: Plan, progress: Progress) -> Read:
    whole = Read()
    for sheet, sheet_plan in zip(sheets, plan.sheets, strict=True):
        progress(f"Reading {sheet.name}")
        found = read(sheet, sheet_plan, plan.order, partial(_say_row, progress, sheet.name))
        whole.lines += found.lines
        whole.problems += found.problems
        whole.left_out += found.left_out
        whole.dates = found.dates | whole.dates
    return whole


def _say_row(progress: Progress, sheet: str, row: int) -> None:
    progress(f"Reading {sheet}, row {row:,}")


def _questions(plan: Plan, found: Read) -> dict[str, Any]:
    """What only a person can tell: which number of a date is the day, and which spellings mean one location."""
    asked: dict[str, Any] = {}
    if not plan.order and (order := _about_order(found.dates)):
        asked["order"] = order
    names = Counter(line.get("location") for line in found.lines if line.get("location"))
    alike = [each for each in groups(_one_case(names), queries.location_names())]
    if joins := [each for each in alike if any(name not in plan.joins for name in each[1:])]:
        asked["joins"] = joins
    return asked


def _one_case(names: Counter[str]) -> Iterator[str]:
    """Spellings that differ in capitals alone are one name here as everywhere; the most frequent stands for them."""
    by_case: dict[str, str] = {}
    for name, _ in names.most_common():
        by_case.setdefault(name.casefold(), name)
    for name, count in names.items():
        yield from [by_case[name.casefold()]] * count


def _about_order(shown: dict[str, dict[str, Any]]) -> dict[str, Any] | None:
    """The first date that could be read in two ways, both readings, and the rows that show which one is meant."""
    if not shown:
        return None
    example = shown.get("?") or next(iter(shown.values()))
    readings = {}
    for order in (DAY_FIRST, MONTH_FIRST):
        try:
            said = when(example["cell"], order)
            readings[order] = f"{said.day:%-d %B %Y}" if said else ""
        except ValueError:
            readings[order] = "no day of the calendar"
    return {"example": example["cell"], **readings, "shown": {key: one for key, one in shown.items() if key != "?"}}


def _wrong_rows(sheet_import: SheetImport) -> set[tuple[str, int]]:
    return {(sheet, row) for sheet, row in sheet_import.result.get("wrong_rows", [])}


def _as_checked(sheet_import: SheetImport) -> dict[str, Any]:
    """What the check found wrong. Rows that were left out are not tried again, so nothing else would tell of them."""
    return {name: sheet_import.result[name] for name in ("problems", "problem_count", "wrong_rows")}


def _notes(sheets: list[Sheet]) -> list[str]:
    return [f"{sheet.name}: {note}" if len(sheets) > 1 else note for sheet in sheets for note in sheet.notes]


def _told(run: Run, found: Read) -> dict[str, Any]:
    problems = sorted([*found.problems, *run.problems], key=lambda one: (one.sheet, one.row))
    return {
        "made": run.made,
        "filled": run.filled,
        "same": {noun: len(keys) for noun, keys in run.same.items()},
        "problems": [asdict(one) for one in problems[:MOST_NAMED]],
        "problem_count": len(problems),
        "wrong_rows": sorted({(one.sheet, one.row) for one in problems}),
        "remarks": [asdict(one) for one in run.remarks[:MOST_NAMED]],
        "remark_count": len(run.remarks),
        "left_out": [asdict(one) for one in found.left_out[:MOST_NAMED]],
        "left_out_count": len(found.left_out),
    }
