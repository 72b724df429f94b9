"""What a phone notes on the road besides visits: a stop skipped, a line of the load list ticked. Its shape."""

import re
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from routeapp.kit.documents import Key, Moment, wrong
from routeapp.visits.rules_document import Printable

LINE = re.compile(r"(prize|fault|lock|label)-[1-9]\d{0,17}|trays")
MOST_PIECES = 100_000


def _said(text: str) -> str:
    if not text:
        raise ValueError("Say why you do not stop there.")
    return text


def _line(text: str) -> str:
    if not LINE.fullmatch(text):
        raise ValueError("That is no line of a load list.")
    return text


class _Note(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    id: UUID
    round: UUID
    at: Moment


class SkipNote(_Note):
    kind: Literal["skip"]
    location: Key
    reason: Annotated[str, Printable, AfterValidator(_said), Field(max_length=200)]


class TickNote(_Note):
    kind: Literal["tick"]
    line: Annotated[str, AfterValidator(_line)]
    on: Annotated[bool, Field(strict=True)]
    pieces: Annotated[int, Field(strict=True, ge=0, le=MOST_PIECES)] = 0
    from_place: Key | None = None


class _Document(BaseModel):
    note: Annotated[SkipNote | TickNote, Field(discriminator="kind")]


def read(raw: Any) -> SkipNote | TickNote:
    """Check the shape of a decoded JSON document. Raises pydantic's ValidationError; see `problems`."""
    return _Document.model_validate({"note": raw}).note


def problems(error: ValidationError) -> dict[str, str]:
    """What is wrong, by the name of the field."""
    return {str(path[-1]): words for path, words in wrong(error)}
