"""What people type about a cabinet: its code, and moments without seconds."""

import re
from datetime import datetime, timedelta

LONGEST_CODE = 16
FIRST_CODE = "C-001"


def clean_code(text: str) -> str:
    """Write a cabinet's code the one way it is kept: capitals, dashes for spaces. Raises ValueError with a sentence.

    Only letters without accents, digits and dashes: the code stands in addresses and is read out over the phone.
    """
    code = re.sub(r"\s+", "-", text.strip().upper())
    if not re.fullmatch(r"[A-Z0-9][A-Z0-9-]*", code) or len(code) > LONGEST_CODE:
        raise ValueError(f"A code has up to {LONGEST_CODE} letters, digits and dashes, for example {FIRST_CODE}.")
    return code


def next_code(codes: list[str]) -> str:
    """The next free code in the numbering of the newest one; `codes` are in the order they were given out."""
    numbered = [match for code in codes if (match := re.fullmatch(r"(.*?)(\d+)", code))]
    if not numbered:
        return FIRST_CODE
    prefix, width = numbered[-1][1], len(numbered[-1][2])
    highest = max(int(match[2]) for match in numbered if match[1] == prefix)
    code = f"{prefix}{highest + 1:0{width}d}"
    return code if len(code) <= LONGEST_CODE else ""


def in_order(typed: datetime, newest: datetime | None) -> datetime:
    """The moment `typed` to the minute, moved after `newest` when both fall into the same minute."""
    if newest is not None and timedelta() < newest - typed < timedelta(minutes=1):
        return newest
    return typed
