"""The visit document: what a phone or the form sends for one stop. Its shape is checked here, on paper."""

import hashlib
import json
from datetime import datetime, timedelta
from typing import Annotated, Any, Literal
from uuid import UUID, uuid5

from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    ConfigDict,
    Field,
    TypeAdapter,
    ValidationError,
    model_validator,
)

from machines.cabinets.rules import Explanation
from routeapp.kit.documents import Key, printable, wrong

LARGEST = 999_999_999


def _printable(text: str) -> str:
    return printable(text).strip()


def _said(text: str) -> str:
    if not text:
        raise ValueError("This cannot stay empty.")
    return text


def _in_the_calendar(moment: datetime) -> datetime:
    """The first and last hours of the calendar cannot be told in another time zone."""
    if not 2 <= moment.year <= 9998:
        raise ValueError("That moment is outside the calendar. Check the phone's date and time.")
    return moment


# What is left of a text is measured, not what was sent: a document must still be readable when it is read again.
Printable, Said = AfterValidator(_printable), AfterValidator(_said)
Line = Annotated[str, Printable, Field(max_length=300)]
Note = Annotated[str, Printable, Field(max_length=4000)]
Moment = Annotated[AwareDatetime, AfterValidator(_in_the_calendar)]
Count = Annotated[int, Field(strict=True, ge=0, le=LARGEST)]
Some = Annotated[int, Field(strict=True, ge=1, le=LARGEST)]


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class ReadingPart(Part):
    """What one meter showed."""

    meter: Key
    value: Count
    explained_as: Explanation = Explanation.NONE
    reason: Line = ""


class BagPart(Part):
    """A bag: its id made by the sender, and the number on its seal."""

    id: UUID
    number: Annotated[str, Printable, Field(max_length=40), Said]


class CashPart(Part):
    """What became of the money in the cash box. `lines` are pieces by denomination key; amounts in minor units."""

    taken: Literal["not_taken", "counted", "sealed"] = "not_taken"
    how: Literal["", "denominations", "weight", "amount"] = ""
    cents: Count = 0
    lines: Annotated[dict[Annotated[str, Printable, Field(max_length=20)], Some], Field(max_length=40)] = {}
    bag: BagPart | None = None
    estimate_cents: Count = 0

    @model_validator(mode="after")
    def fits_together(self) -> "CashPart":
        if self.taken == "sealed" and self.bag is None:
            raise ValueError("A sealed bag needs its number.")
        if self.taken == "counted" and not self.how:
            raise ValueError("Say how the cash was counted.")
        return self


class PrizePart(Part):
    prize: Key
    pieces: Count


class MixPart(Part):
    mix: Key
    times: Some


class SettingsPart(Part):
    """Settings that were changed; what stays empty was left as it stood."""

    grip_strength: Annotated[int, Field(ge=0, le=100)] | None = None
    payout_target: Annotated[int, Field(ge=1, le=32000)] | None = None
    play_seconds: Annotated[int, Field(ge=1, le=32000)] | None = None
    credits_per_coin: Annotated[int, Field(ge=0, le=32000)] | None = None


class FaultPart(Part):
    id: UUID
    text: Annotated[str, Printable, Field(max_length=1000), Said]
    stops_play: bool = False


class FixPart(Part):
    fault: UUID
    how: Annotated[str, Printable, Field(max_length=500), Said]


class EntryPart(Part):
    """What was done to one cabinet. `tests_before` and `tests_after` are free test plays around the readings."""

    id: UUID
    machine: Key
    readings: Annotated[list[ReadingPart], Field(max_length=20)] = []
    tests_before: Annotated[int, Field(ge=0, le=10_000)] = 0
    tests_after: Annotated[int, Field(ge=0, le=10_000)] = 0
    cash: CashPart = CashPart()
    found: Annotated[list[PrizePart], Field(max_length=200)] = []
    found_estimated: bool = False
    loaded: Annotated[list[PrizePart], Field(max_length=200)] = []
    mixes: Annotated[list[MixPart], Field(max_length=50)] = []
    removed: Annotated[list[PrizePart], Field(max_length=200)] = []
    settings: SettingsPart | None = None
    checks: Annotated[dict[Annotated[str, Printable, Field(max_length=120)], bool], Field(max_length=60)] = {}
    faults: Annotated[list[FaultPart], Field(max_length=30)] = []
    fixed: Annotated[list[FixPart], Field(max_length=30)] = []
    photos: Annotated[list[UUID], Field(max_length=12)] = []
    note: Note = ""

    def pieces(self) -> list[PrizePart]:
        """Every line that names a prize."""
        return [*self.found, *self.loaded, *self.removed]


class HostPaymentPart(Part):
    cents: Some
    received_by: Annotated[str, Printable, Field(max_length=120), Said]
    signature: UUID | None = None


class Document(Part):
    """One stop. Moments are aware (ISO 8601 with offset). `load_from` is the place the prizes came out of."""

    id: UUID
    location: Key
    arrived_at: Moment
    departed_at: Moment
    load_from: Key | None = None
    loose_bag: BagPart | None = None
    host_payment: HostPaymentPart | None = None
    replaces: UUID | None = None
    void: bool = False
    reason: Line = ""
    note: Note = ""
    entries: Annotated[list[EntryPart], Field(max_length=60)] = []

    @model_validator(mode="after")
    def fits_together(self) -> "Document":
        if self.departed_at < self.arrived_at:
            raise ValueError("The departure is before the arrival.")
        if self.replaces and not self.reason:
            raise ValueError("Say why the visit is corrected.")
        if self.void and (not self.replaces or self.entries or self.host_payment):
            raise ValueError("A withdrawal names the visit it withdraws and brings nothing else.")
        if self.replaces == self.id:
            raise ValueError("A visit cannot correct itself.")
        for what in ("machine", "id"):
            if len({getattr(entry, what) for entry in self.entries}) < len(self.entries):
                raise ValueError("A cabinet stands twice in this visit.")
        if self.id in {entry.id for entry in self.entries}:
            raise ValueError("A cabinet has the id of the visit itself.")
        if len(set(self.photos())) < len(self.photos()):
            raise ValueError("A photo stands twice in this visit.")
        if {self.id, *(entry.id for entry in self.entries)} & {bag.id for bag in self.bags()}:
            raise ValueError("A bag has the id of something else in this visit.")
        return self

    def photos(self) -> list[UUID]:
        """Every picture that is named: photos of cabinets, and the signature of the host."""
        signature = self.host_payment.signature if self.host_payment else None
        return [photo for entry in self.entries for photo in entry.photos] + ([signature] if signature else [])

    def bags(self) -> list[BagPart]:
        """Every bag that is named, sealed ones and the one for loose cash."""
        named = [self.loose_bag, *(entry.cash.bag for entry in self.entries)]
        return [bag for bag in named if bag is not None]


def read(raw: Any) -> Document:
    """Check the shape of a decoded JSON document. Raises pydantic's ValidationError; see `problems`."""
    return Document.model_validate(raw)


_moment: TypeAdapter[datetime] = TypeAdapter(Moment)


def clock_time(text: str) -> datetime | None:
    """What a phone's clock showed. None where that tells nothing, which is no reason to lose the visit beside it."""
    try:
        told = _moment.validate_python(text)
    except ValidationError:
        return None
    return told if 1970 <= told.year < 3000 else None  # where clocks start again without a battery, and far ahead


def shifted(document: Document, by: timedelta, new: UUID, reason: str) -> Document:
    """The same visit at other times, as a correction with the id `new`. Its pictures stay with the first version."""
    paid = document.host_payment
    return document.model_copy(
        update={
            "id": new,
            "replaces": document.id,
            "reason": reason,
            "arrived_at": document.arrived_at + by,
            "departed_at": document.departed_at + by,
            "host_payment": paid and paid.model_copy(update={"signature": None}),
            "entries": [
                part.model_copy(update={"id": uuid5(new, f"entry {part.machine}"), "photos": []})
                for part in document.entries
            ],
        }
    )


def problems(error: ValidationError) -> dict[str, str]:
    """What is wrong, by the path of the field (“entries.0.readings.1.value”; empty for the whole)."""
    return {".".join(map(str, path)): words for path, words in wrong(error)}


def fingerprint(document: Document) -> str:
    """SHA-256 of what the document says.

    What it leaves open does not count, so that a retry after an update that knows more fields is still the same.
    """
    said = document.model_dump(mode="json", exclude_defaults=True)
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()
