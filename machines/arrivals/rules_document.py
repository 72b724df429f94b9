"""The arrival document: what a phone or the page sends from the door or from unpacking. Its shape, on paper.

It carries the fields of the page as they were typed; the page's own forms read them, with and without a network.
"""

import hashlib
import json
from typing import Annotated, Any
from uuid import UUID

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from routeapp.kit.documents import Key, Moment, printable, wrong

Name = Annotated[str, AfterValidator(printable), Field(max_length=120)]
Typed = Annotated[str, AfterValidator(printable), Field(max_length=4000)] | Annotated[bool, Field(strict=True)]


class Document(BaseModel):
    """One sending: `saved_at` is when it was finished on the phone.

    `photos` say what each belongs to: the number of a cabinet, 0 for the delivery, or a field's name for one line.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: UUID
    order: Key | None = None
    follows: UUID | None = None
    replaces: UUID | None = None
    saved_at: Moment
    fields: Annotated[dict[Name, Typed], Field(max_length=3000)]
    photos: Annotated[dict[UUID, Annotated[int, Field(strict=True, ge=0, le=2**62)] | Name], Field(max_length=60)] = {}


def read(raw: Any) -> Document:
    """Check the shape of a decoded JSON document. Raises pydantic's ValidationError; see `problems`."""
    return Document.model_validate(raw)


def problems(error: ValidationError) -> dict[str, str]:
    """What is wrong, by the name of the field; empty for the whole."""
    return {
        str(path[-1] if path[:1] == ("fields",) else path[0] if path else ""): words for path, words in wrong(error)
    }


def fingerprint(document: Document) -> str:
    """SHA-256 of what the document says; fields left empty say nothing."""
    said = document.model_dump(mode="json", exclude={"saved_at"})
    if document.replaces is None:
        del said["replaces"]  # so that what an older phone sent stays the same
    said["fields"] = {name: value for name, value in said["fields"].items() if value not in ("", False)}
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()
