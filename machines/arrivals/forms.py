"""The arrival page's forms: what is seen at the door, each cabinet as it is unpacked, the packing list.

They read a document's fields, whether a browser posted them or a phone sent them later.
"""

import zlib
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django import forms

from machines.arrivals import rules_document
from machines.arrivals.actions import Door, Line, Photographed, Spare, Told, Unpacked
from machines.arrivals.models import Arrival, Outside, State
from machines.arrivals.queries import arrivals, checks_of, to_unpack
from machines.arrivals.rules_checklist import ramp_words
from machines.arrivals.rules_document import Document
from machines.cabinets.models import Machine, lines_of
from machines.purchases.models import Order
from routeapp.kit.errors import Refused
from routeapp.kit.forms import CountField, PastField

SPARES = 6
MOST = 9_999


def _name_of(kind: str, what: str) -> str:
    """A field's name from its line, so that an answer stays with its line when the model's list changes meanwhile."""
    return f"{kind}_{zlib.crc32(what.encode()):08x}"


class PhotosInput(forms.FileInput):
    allow_multiple_selected = True


def _photos(label: str) -> forms.FileField:
    accept = {"accept": "image/jpeg,image/png,image/webp"}
    return forms.FileField(label=label, required=False, widget=PhotosInput(attrs=accept))


class DoorForm(forms.Form):
    carrier = forms.CharField(label="Who delivers", max_length=80, required=False)
    listed = CountField(label="Pieces on the delivery receipt", max_value=MOST)
    came = CountField(label="Pieces that came", max_value=MOST)
    outside = forms.ChoiceField(label="From outside", choices=[("", "Choose"), *Outside.choices])
    receipt_words = forms.CharField(
        label="What you write on the delivery receipt",
        max_length=500,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=(
            "Before you sign, what you see, piece by piece: “3 of 4 pieces received. Piece 2: corner crushed,"
            " film torn.” “Subject to inspection” alone says nothing. Keep a copy or a photo of it."
        ),
    )

    def clean(self) -> None:
        seen = self.cleaned_data
        not_well = seen.get("outside") in (Outside.DAMAGED, Outside.REFUSED)
        fewer = (seen.get("came") or 0) < (seen.get("listed") or 0)
        if (not_well or fewer) and not seen.get("receipt_words") and "receipt_words" not in self.errors:
            self.add_error("receipt_words", "Write down what is wrong, as it stands on the receipt.")
        if (seen.get("came") or 0) > (seen.get("listed") or 0) and "listed" in seen:
            self.add_error("came", "More came than the receipt lists. Put the receipt right with the driver first.")

    def door(self) -> Door:
        data = self.cleaned_data
        return Door(data["carrier"], data["listed"], data["came"], data["outside"], data["receipt_words"])


class CabinetForm(forms.Form):
    """One cabinet as it comes out of its crate."""

    unpacked = forms.ChoiceField(
        label="Unpacked?",
        required=False,
        choices=[
            ("", "Not yet"),
            ("rest", "Yes; all is fine but what I marked"),
            ("marked", "Yes; only what I marked was looked at"),
        ],
    )
    serial = forms.CharField(label="Serial number", max_length=60, required=False)
    photos = _photos("Photos of this cabinet")

    def __init__(self, *args: Any, machine: Machine, before: Mapping[str, Any], **kwargs: Any) -> None:
        prefix = f"c{machine.pk}"
        said = {name.removeprefix(f"{prefix}-"): value for name, value in before.items()}
        super().__init__(*args, prefix=prefix, initial={"serial": machine.serial} | said, **kwargs)
        self.machine, self.ramp = machine, ramp_words(machine.model.weight_kg)
        self.checks, self.locks = checks_of(machine.model), lines_of(machine.model.locks)
        for what in self.checks:
            choices = [("", "–"), *State.choices]
            self.fields[_name_of("state", what)] = forms.ChoiceField(label=what, choices=choices, required=False)
            self.fields[_name_of("note", what)] = forms.CharField(
                max_length=300, required=False, widget=forms.TextInput(attrs={"placeholder": "How, in a few words"})
            )
            self.fields[_name_of("photo", what)] = _photos(f"Photos: {what}")
        for name in self.locks:
            self.fields[_name_of("keys", name)] = CountField(label=f"Keys: {name}", max_value=50, required=False)

    def rows(self) -> list[list[forms.BoundField]]:
        """The state, the words and the photos of each line."""
        return [[self[_name_of(kind, what)] for kind in ("state", "note", "photo")] for what in self.checks]

    def pictured(self) -> dict[str, tuple[int, str]]:
        """The cabinet and the line that a photo shows, by the name of its field."""
        lines = {self.add_prefix(_name_of("photo", what)): (self.machine.pk, what[:120]) for what in self.checks}
        return {self.add_prefix("photos"): (self.machine.pk, "")} | lines

    def key_fields(self) -> list[forms.BoundField]:
        return [self[_name_of("keys", name)] for name in self.locks]

    def clean(self) -> None:
        data = self.cleaned_data
        marked = [what for what in self.checks if data.get(_name_of("state", what))]
        for what in self.checks:
            if data.get(_name_of("state", what)) == State.FIXED and not data.get(_name_of("note", what)):
                self.add_error(_name_of("note", what), "Say how it was fixed.")
        if marked and not data.get("unpacked"):
            self.add_error("unpacked", "Something is marked here. Say how far it is unpacked.")
        if data.get("unpacked") == "marked" and not marked:
            self.add_error("unpacked", "Nothing is marked here yet.")

    def told(self) -> Unpacked | None:
        """What was found; None while it is not unpacked."""
        data = self.cleaned_data
        if not data["unpacked"]:
            return None
        blank = State.FINE if data["unpacked"] == "rest" else ""
        lines = [
            Line(what, data[_name_of("state", what)] or blank, data[_name_of("note", what)]) for what in self.checks
        ]
        counted = {name: data[_name_of("keys", name)] for name in self.locks}
        keys = {name: many for name, many in counted.items() if many is not None}
        return Unpacked(self.machine, [line for line in lines if line.state], data["serial"], keys)


class RestForm(forms.Form):
    """The packing list of spares, photos of the delivery, and when it was."""

    at = PastField()
    photos = _photos("Photos: the pieces, the damage, the receipt")
    note = forms.CharField(max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, now: datetime, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].now, self.fields["at"].zone = now, zone
        for number in range(SPARES):
            self.fields[f"spare{number}_name"] = forms.CharField(label="Part", max_length=80, required=False)
            self.fields[f"spare{number}_listed"] = CountField(label="On the list", max_value=MOST, required=False)
            self.fields[f"spare{number}_came"] = CountField(label="Came", max_value=MOST, required=False)

    def spare_rows(self) -> list[list[forms.BoundField]]:
        return [[self[f"spare{number}_{name}"] for name in ("name", "listed", "came")] for number in range(SPARES)]

    def clean(self) -> None:
        names: set[str] = set()
        for number in range(SPARES):
            name, listed, came = (self.cleaned_data.get(f"spare{number}_{one}") for one in ("name", "listed", "came"))
            if not name and (listed or came):
                self.add_error(f"spare{number}_name", "Say which part.")
            if name and name.casefold() in names:
                self.add_error(f"spare{number}_name", "This part stands here twice. Add them up.")
            names |= {name.casefold()} if name else set()

    def spares(self) -> list[Spare]:
        rows = [
            [self.cleaned_data[f"spare{number}_{name}"] for name in ("name", "listed", "came")]
            for number in range(SPARES)
        ]
        return [Spare(name, listed or 0, came or 0) for name, listed, came in rows if name]


class Sheet:
    """The whole page for one delivery; unbound, or bound to the fields of a document."""

    def __init__(
        self,
        *,
        order: Order,
        follows: Arrival | None = None,
        replaces: Arrival | None = None,
        fields: Mapping[str, Any] | None = None,
        now: datetime,
        zone: str,
    ) -> None:
        self.order, self.follows, self.replaces = order, follows, replaces
        before = replaces.typed if replaces else {}
        self.door = None if follows else DoorForm(fields, initial=before)
        machines = to_unpack(order, besides=replaces)
        self.cabinets = [CabinetForm(fields, machine=machine, before=before) for machine in machines]
        self.rest = RestForm(fields, now=now, zone=zone, initial=before)
        if replaces:
            self.rest.fields["reason"] = forms.CharField(label="What was wrong before", max_length=300)

    @property
    def forms(self) -> list[forms.Form]:
        return [*([self.door] if self.door else []), *self.cabinets, self.rest]

    def is_valid(self) -> bool:
        return all([form.is_valid() for form in self.forms])

    def show(self, name: str | None, message: str) -> None:
        """Show what an action refused beside its field, or above the page."""
        for form in self.forms:
            for field in form.fields:
                if form.add_prefix(field) == name:
                    form.add_error(field, message)
                    return
        self.rest.add_error(None, message)

    def errors(self) -> dict[str, str]:
        """What is wrong by the name of the field; empty for the whole."""
        return {
            form.add_prefix(name) if name != "__all__" else "": " ".join(texts)
            for form in self.forms
            for name, texts in form.errors.items()
        }

    def photographed(self, name: str | int, content: bytes) -> Photographed:
        """A photo by what its document or its field says it shows."""
        pictured = {key: shown for form in self.cabinets for key, shown in form.pictured().items()}
        machine, what = (name, "") if isinstance(name, int) else pictured.get(name, (0, ""))
        return Photographed(content, machine or None, what)

    def photographed_by(self, document: Document, photos: Mapping[UUID, bytes]) -> dict[UUID, Photographed]:
        """The photos that a document names, each with what it shows."""
        named = {uuid: content for uuid, content in photos.items() if uuid in document.photos}
        return {uuid: self.photographed(document.photos[uuid], content) for uuid, content in named.items()}

    def told_by(self, document: Document) -> Told:
        return self.told(document.id, rules_document.fingerprint(document), document.fields)

    def told(self, uuid: Any, fingerprint: str, typed: Mapping[str, Any]) -> Told:
        found: Iterable[Unpacked | None] = [form.told() for form in self.cabinets]
        return Told(
            uuid=uuid,
            fingerprint=fingerprint,
            order=self.order,
            follows=self.follows,
            door=self.door.door() if self.door else None,
            cabinets=[one for one in found if one],
            spares=self.rest.spares(),
            note=self.rest.cleaned_data["note"],
            replaces=self.replaces,
            reason=self.rest.cleaned_data.get("reason", ""),
            typed={name: value for name, value in typed.items() if name != "reason" and value not in ("", False)},
        )


def sheet_of(document: Document, *, saved: datetime, zone: str) -> Sheet:
    """The page's forms bound to a document that was finished at `saved`. Refuses one whose order is not here."""
    follows = arrivals().filter(uuid=document.follows).first() if document.follows else None
    replaces = Arrival.objects.filter(uuid=document.replaces).first() if document.replaces else None
    order = follows.order if follows else Order.objects.filter(pk=document.order).first()
    if order is None or (document.follows and follows is None) or (document.replaces and replaces is None):
        raise Refused("The order or delivery this belongs to is not here. It stays with you until it is.")
    return Sheet(order=order, follows=follows, replaces=replaces, fields=document.fields, now=saved, zone=zone)
