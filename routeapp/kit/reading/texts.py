"""Text files with separated values, in whatever encoding and with whatever separator they were saved."""

import codecs
import csv
from collections.abc import Iterator
from pathlib import Path

from routeapp.kit.reading.sheet import Row, Sheet, Unreadable, limited

SEPARATORS = ",;\t|"
HEAD = 64 * 1024
LONGEST_CELL = 100_000
MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


def _as_windows(error: UnicodeError) -> tuple[str, int]:
    """Bytes that are no UTF-8 are the old Windows encoding, also where both stand in one file."""
    if not isinstance(error, UnicodeDecodeError):
        raise error
    return error.object[error.start : error.end].decode("cp1252", "replace"), error.end


codecs.register_error("as_windows", _as_windows)


def open_text(path: Path, name: str) -> list[Sheet]:
    """The one sheet of a text file. Raises Unreadable for what is no text."""
    with path.open("rb") as file:
        head = file.read(HEAD)
    encoding, notes = _encoding(head)
    if encoding == "utf-8" and not _is_utf8(path):
        notes.append("Some of it is not UTF-8 and was read as Windows text (cp1252). Look at the accents below.")
    separator = _separator(_lines(path, encoding))
    return [Sheet(Path(name).stem[:80] or "Sheet", lambda: limited(_rows(path, encoding, separator)), notes=notes)]


def _encoding(head: bytes) -> tuple[str, list[str]]:
    for mark, encoding in MARKS:
        if head.startswith(mark):
            return encoding, ["It was read as UTF-16."] if encoding == "utf-16" else []
    for zeros, encoding in ((head[1::2], "utf-16-le"), (head[0::2], "utf-16-be")):
        if zeros and zeros.count(0) > 0.4 * len(zeros):
            return encoding, ["It was read as UTF-16."]
    if 0 in head:
        raise Unreadable("This is neither a workbook (.xlsx) nor a text file (.csv). Save it as one of them.")
    return "utf-8", []


def _is_utf8(path: Path) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as file:
        try:
            while chunk := file.read(1 << 20):
                decoder.decode(chunk)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return False
    return True


def _lines(path: Path, encoding: str) -> Iterator[str]:
    errors = "as_windows" if encoding.startswith("utf-8") else "replace"
    with path.open(encoding=encoding, errors=errors, newline="") as file:
        yield from file


def _separator(lines: Iterator[str]) -> str:
    """The one that divides the first lines into the most columns that agree with each other."""
    first = [line for _, line in zip(range(50), lines, strict=False)]
    if first and first[0].lower().startswith("sep="):
        return first[0].strip()[4:5] or ","
    return max(SEPARATORS, key=lambda sign: _agreement(first, sign))


def _agreement(lines: list[str], sign: str) -> int:
    try:
        widths = [len(row) for row in csv.reader(lines, delimiter=sign) if row]
    except csv.Error:
        return 0
    usual = max(set(widths), key=widths.count, default=1)
    return 0 if usual == 1 else usual * widths.count(usual)


def _rows(path: Path, encoding: str, separator: str) -> Iterator[Row]:
    reader = csv.reader(_lines(path, encoding), delimiter=separator)
    try:
        for cells in reader:
            if any(len(cell) > LONGEST_CELL for cell in cells):
                raise csv.Error
            if not (reader.line_num == 1 and cells and cells[0].lower().startswith("sep=")):
                yield reader.line_num, cells
    except (csv.Error, UnicodeError):
        raise Unreadable(
            f"Something before line {reader.line_num + 1:,} cannot be read: perhaps a quotation mark is never closed."
        ) from None
