"""What a column holds and how its cells are written down, so that reading them gives back the very same value."""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal, InvalidOperation
from typing import Any
from uuid import UUID

from routeapp.kit.sheets import guarded, unguarded


@dataclass(frozen=True)
class Kind:
    """`write` makes a cell of a value that is not empty; `read` makes the value again or raises ValueError."""

    words: str
    write: Callable[[Any], str]
    read: Callable[[str], Any]
    example: str = ""


def _whole(cell: str) -> int:
    if not re.fullmatch(r"-?\d{1,19}", cell):
        raise ValueError
    return int(cell)


def _yes_or_no(cell: str) -> bool:
    return {"yes": True, "no": False}[cell]


def _moment(cell: str) -> datetime:
    found = datetime.fromisoformat(cell)
    if found.tzinfo is None:
        raise ValueError
    return found.astimezone(UTC)


def _decimal(cell: str) -> Decimal:
    if not re.fullmatch(r"-?\d{1,20}(\.\d{1,20})?", cell):
        raise ValueError
    return Decimal(cell)


def _text(cell: str) -> str:
    if "\0" in cell:  # no PostgreSQL takes it
        raise ValueError
    return unguarded(cell)


def _json(value: Any) -> str:
    return str(guarded(json.dumps(value, ensure_ascii=False, separators=(",", ":"))))


def _read_json(cell: str) -> Any:
    return json.loads(_text(cell))


TEXT = Kind("text", guarded, _text)
WHOLE = Kind("whole number", str, _whole, "1250")
YES_OR_NO = Kind("yes or no", lambda value: "yes" if value else "no", _yes_or_no, "yes")
MOMENT = Kind("moment", lambda value: value.astimezone(UTC).isoformat(), _moment, "2026-03-02T10:00:00+00:00")
DAY = Kind("day", date.isoformat, date.fromisoformat, "2026-03-02")
TIME = Kind("time of day", time.isoformat, time.fromisoformat, "18:30:00")
ID = Kind("id", str, UUID, "6f1c6f0e-7d1a-4b7e-9a53-0d3a53c1b0aa")
DECIMAL = Kind("decimal number", lambda value: f"{value:f}", _decimal, "41.880000")
DOCUMENT = Kind("JSON", _json, _read_json, '{"found": 3}')
FILE = Kind("file", TEXT.write, TEXT.read)

KINDS = {  # by what Django calls the field's inner type
    **dict.fromkeys(("AutoField", "BigAutoField", "BigIntegerField", "IntegerField", "SmallIntegerField"), WHOLE),
    **dict.fromkeys(("PositiveBigIntegerField", "PositiveIntegerField", "PositiveSmallIntegerField"), WHOLE),
    **dict.fromkeys(("CharField", "TextField", "EmailField"), TEXT),
    "BooleanField": YES_OR_NO,
    "DateTimeField": MOMENT,
    "DateField": DAY,
    "TimeField": TIME,
    "UUIDField": ID,
    "DecimalField": DECIMAL,
    "JSONField": DOCUMENT,
    "FileField": FILE,
}

NO_TEXT = "'"  # an empty text where there could be none at all: the mark of a guarded cell with nothing behind it


def write(kind: Kind, value: Any, *, nullable: bool = False) -> str:
    """A value as a cell. No value at all is an empty cell."""
    if value is None:
        return ""
    return kind.write(value) or (NO_TEXT if nullable else "")


def read(kind: Kind, cell: str, *, nullable: bool = False) -> Any:
    """The value of a cell as `write` wrote it. Raises ValueError with a sentence that quotes the cell."""
    if cell == "" and (nullable or kind not in (TEXT, FILE)):
        if nullable:
            return None
        raise ValueError("is empty, and something has to stand there")
    try:
        return kind.read(cell)
    except (ValueError, KeyError, InvalidOperation, OverflowError, RecursionError):
        shown = cell if len(cell) <= 40 else f"{cell[:40]}…"
        like = f", like {kind.example}" if kind.example else ""
        raise ValueError(f"holds “{shown}”, which cannot be read as {kind.words}{like}") from None
