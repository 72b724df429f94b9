"""What all documents that phones send have in common: texts, moments and numbers that can be kept."""

from datetime import datetime
from typing import Annotated

from pydantic import AfterValidator, AwareDatetime, Field, ValidationError


def printable(text: str) -> str:
    """NUL cannot be kept by PostgreSQL and was typed by nobody; half a character is no text at all."""
    if not text.isascii() and any("\ud800" <= sign <= "\udfff" for sign in text):
        raise ValueError("Some of this text is broken. Write it again.")
    return text.replace("\x00", "")


def _in_the_calendar(moment: datetime) -> datetime:
    if not 2000 <= moment.year <= 2999:
        raise ValueError("That moment is outside the calendar. Check the phone's date and time.")
    return moment


Moment = Annotated[AwareDatetime, AfterValidator(_in_the_calendar)]
Key = Annotated[int, Field(strict=True, ge=1, le=2**62)]


def wrong(error: ValidationError) -> list[tuple[tuple[int | str, ...], str]]:
    """Where in a document something is wrong, and what, in words."""
    found = error.errors(include_url=False, include_context=False, include_input=False)
    return [(one["loc"], one["msg"].removeprefix("Value error, ")) for one in found]
