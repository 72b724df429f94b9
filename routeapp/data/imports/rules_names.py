"""Names as they stand in a sheet, as they are kept here."""

from machines.cabinets.rules_entry import clean_code
from routeapp.kit.errors import Refused


def code_of(said: str) -> str:
    """A cabinet's code. Refuses what can be none."""
    try:
        return clean_code(str(said).lstrip("#"))
    except ValueError as problem:
        raise Refused(f"“{said}”: {problem}") from None


def fits(name: str, most: int, noun: str) -> str:
    """The name, when it is not longer than we keep. Refuses it otherwise."""
    if len(name) > most:
        raise Refused(f"The {noun} has up to {most} characters; this one has {len(name):,}.")
    return name
