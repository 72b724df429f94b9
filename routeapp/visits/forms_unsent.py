"""The file a phone wrote when it could not send its visits (offline/pass_on.js)."""

import base64
import binascii
import io
import json
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.urls import reverse
from pydantic import ValidationError as Malformed

from machines.arrivals import rules_document as rules_arrival
from routeapp.kit import pictures
from routeapp.visits import rules_document
from routeapp.visits.rules_document import Document

NO_FILE = "This is no file of unsent visits. On the phone, open “On this phone” and save them as a file."


@dataclass(frozen=True)
class Unsent:
    """One visit or delivery of the file: a document with its photos, or in `problem` why there is none."""

    person: int
    title: str
    document: Document | rules_arrival.Document | None = None
    photos: dict[UUID, bytes] | None = None
    problem: str = ""


class UnsentForm(forms.Form):
    file = forms.FileField(label="File from the phone")

    def clean_file(self) -> list[Unsent]:
        try:
            told = json.loads(self.cleaned_data["file"].read().decode())
            if told["unsent_visits"] != 1:
                raise ValidationError("This file was written by a newer version than this one.")
            return [_unsent(raw) for raw in told["visits"]]
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            raise ValidationError(NO_FILE) from None


def _unsent(raw: dict[str, Any]) -> Unsent:
    person, title = int(raw["person"]), f"{raw['name']} at {raw['place']}, {raw['saved']}"[:300]
    if raw["document"] is None:
        typed = ", ".join(f"{name} {text}" for name, text in raw["values"].items() if text)
        return Unsent(person, title, problem=f"The phone did not know the cabinet. Enter it by hand: {typed}.")
    rules = rules_arrival if raw.get("to") == reverse("sync-arrivals") else rules_document
    try:
        return Unsent(person, title, rules.read(raw["document"]), _photos(raw["photos"]))
    except Malformed as error:
        return Unsent(person, title, problem=" ".join(rules.problems(error).values()))
    except pictures.NotAPicture as problem:
        return Unsent(person, title, problem=str(problem))


def _photos(raw: dict[str, str]) -> dict[UUID, bytes]:
    photos = {}
    for name, text in raw.items():
        try:
            content = base64.b64decode(text, validate=True)
        except binascii.Error:
            raise pictures.NotAPicture("A photo in the file is broken.") from None
        photos[UUID(name)] = pictures.clean(io.BytesIO(content), len(content))
    return photos
