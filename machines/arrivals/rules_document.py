"""The arrival document: what a phone or the page sends from the door or from unpacking. Its shape, on paper.

It carries the fields of the page as they were typed; the page's own forms read them, with and without a network.
"""

import hashlib
import json
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field, ValidationError


def _printable(text: str) -> str:
    """NUL cannot be kept by PostgreSQL and was typed by nobody; half a character is no text at all."""
    if any("\ud800" <= sign <= "\udfff" for sign in text):
        raise ValueError("Some of this text is broken. Write it again.")
    return text.replace("\x00", "")


def _in_the_calendar(moment: datetime) -> datetime:
    if not 2000 <= moment.year <= 2999:
        raise ValueError("That moment is outside the calendar. Check the phone's date and time.")
    return moment


Name = Annotated[str, AfterValidator(_printable), Field(max_length=120)]
Typed = Annotated[str, AfterValidator(_printable), Field(max_length=4000)] | Annotated[bool, Field(strict=True)]
Key = Annotated[int, Field(strict=True, ge=1, le=2**62)]


class Document(BaseModel):
    """One sending: `saved_at` is when it was finished on the phone.

    `photos` say what each belongs to: the number of a cabinet, 0 for the delivery, or a field's name for one line.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: UUID
    order: Key | None = None
    follows: UUID | None = None
    replaces: UUID | None = None
    saved_at: Annotated[AwareDatetime, AfterValidator(_in_the_calendar)]
    fields: Annotated[dict[Name, Typed], Field(max_length=3000)]
    photos: Annotated[dict[UUID, Annotated[int, Field(strict=True, ge=0, le=2**62)] | Name], Field(max_length=60)] = {}


def read(raw: Any) -> Document:
    """Check the shape of a decoded JSON document. Raises pydantic's ValidationError; see `problems`."""
    return Document.model_validate(raw)


def problems(error: ValidationError) -> dict[str, str]:
    """What is wrong, by the name of the field; empty for the whole."""
    return {
        str(one["loc"][-1] if one["loc"][:1] == ("fields",) else one["loc"][0] if one["loc"] else ""): one[
            "msg"
        ].removeprefix("Value error, ")
        for one in error.errors(include_url=False, include_context=False, include_input=False)
    }


def fingerprint(document: Document) -> str:
    """SHA-256 of what the document says; fields left empty say nothing."""
    said = document.model_dump(mode="json", exclude={"saved_at"})
    if document.replaces is None:
        del said["replaces"]  # so that what an older phone sent stays the same
    said["fields"] = {name: value for name, value in said["fields"].items() if value not in ("", False)}
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()
