"""From a file to its sheets, by what the file is and not by what it is called."""

from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import UUID

from django.core.files import File

from routeapp.kit.errors import Refused
from routeapp.kit.reading.sheet import Sheet, Unreadable
from routeapp.kit.reading.texts import open_text
from routeapp.kit.reading.workbooks import open_workbook

ZIP, OLE, PDF = b"PK", b"\xd0\xcf\x11\xe0", b"%PDF"


def keep(*, uuid: UUID, kept: Any, file: Any, look: Callable[[Any], Any]) -> Any:
    """Put a file that was sent under `kept.file`, and what `look` sees in it. Refuses, and keeps nothing, where it
    cannot be read."""
    kept.file.save(f"{uuid}", File(file), save=False)
    try:
        return look(kept)
    except Unreadable as problem:
        kept.file.delete(save=False)
        raise Refused(str(problem), "file") from None


def open_file(path: Path, name: str) -> list[Sheet]:
    """The sheets of a workbook or text file. Raises Unreadable with a sentence that says what to do."""
    try:
        with path.open("rb") as file:
            first = file.read(4)
    except FileNotFoundError:
        raise Unreadable("The file is gone. Send it again.") from None
    if not first:
        raise Unreadable("This file is empty.")
    if first.startswith(ZIP):
        return open_workbook(path)
    if first == OLE:
        raise Unreadable(
            "This is a workbook of the old kind (.xls), or one with a password. "
            "Open it in your spreadsheet program, save it as .xlsx without a password, and bring that."
        )
    if first == PDF:
        raise Unreadable("This is a PDF. Bring the spreadsheet that it was printed from.")
    return open_text(path, name)
