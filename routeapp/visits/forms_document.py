"""From the visit page's forms to a visit document, and from a document back to the forms that correct it."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID, uuid5

from pydantic import ValidationError

from routeapp.kit import pictures
from routeapp.visits import rules_document
from routeapp.visits.forms import CabinetForm
from routeapp.visits.forms_stop import StopForm
from routeapp.visits.rules_document import Document, EntryPart

PHOTOS = UUID("5a8f0c35-52a5-4b0b-8a3a-5d8f6c7e9d11")  # the space that photo ids are made in


@dataclass
class Filled:
    """What the forms said: the raw document, and which form each entry came from."""

    raw: dict[str, Any]
    forms: list[CabinetForm] = field(default_factory=list)
    general: list[str] = field(default_factory=list)

    def document(self) -> Document | None:
        """The checked document; or None, with what is wrong shown in the forms."""
        try:
            return rules_document.read(self.raw)
        except ValidationError as error:
            for path, message in rules_document.problems(error).items():
                self.show(path, message)
            return None

    def show(self, path: str | None, message: str) -> None:
        """Show a problem in the form that the path (“entries.0.…”) leads to; others belong above the whole page."""
        steps = (path or "").split(".")
        form = self.forms[int(steps[1])] if steps[0] == "entries" and len(steps) > 1 else None
        if form is None:
            self.general.append(message)
            return
        reading = steps[2:3] == ["readings"] and len(steps) > 3 and steps[3].isdigit()
        meter = self.raw["entries"][int(steps[1])]["readings"][int(steps[3])]["meter"] if reading else None
        form.add_error(f"reading_{meter}" if meter else None, message)


def fill(stop: StopForm, cabinets: Sequence[CabinetForm], amends: Document | None = None) -> Filled | None:
    """The document that valid forms make; None while any of them is not valid. `amends` is what it corrects."""
    # Every form is asked, so that all problems show at once.
    if not all([stop.is_valid(), *[form.is_valid() for form in cabinets]]):
        return None
    visit = stop.cleaned_data["id"]
    bag = amends.loose_bag.id if amends and amends.loose_bag else uuid5(visit, "loose bag")
    filled = Filled({**stop.parts(bag), "replaces": str(amends.id) if amends else None, "entries": []})
    for form in cabinets:
        if part := form.part(visit):
            filled.raw["entries"].append(part)
            filled.forms.append(form)
    return filled


def clean_photos(form: CabinetForm) -> dict[UUID, bytes]:
    """The chosen photos, cleaned, by an id made from visit, cabinet and content: the same photo sent twice is one.

    One that is no picture is shown as a problem of the form and left out.
    """
    photos: dict[UUID, bytes] = {}
    for file in form.files.getlist(f"{form.prefix}-photos"):
        try:
            clean = pictures.clean(file, file.size)
        except pictures.NotAPicture as problem:
            form.refused_photos.append(f"{file.name[:60]} was left out. {problem}")
            continue
        told = f"{form.data.get('id')} {form.prefix} {hashlib.sha256(clean).hexdigest()}"
        photos[uuid5(PHOTOS, told)] = clean
    return photos


def initial_of(part: EntryPart) -> dict[str, Any]:
    """How the form of one cabinet stands when its entry is opened for correction."""
    cash, settings = part.cash, part.settings.model_dump(exclude_none=True) if part.settings else {}
    initial: dict[str, Any] = {
        "tests": part.tests_before or part.tests_after or None,
        "tests_first": bool(part.tests_before),
        "found_estimated": part.found_estimated,
        "bag_number": cash.bag.number if cash.bag and cash.taken == "sealed" else "",
        "estimate": cash.estimate_cents or None,
        "bag_id": cash.bag.id if cash.bag and cash.taken == "sealed" else None,
        "fault": part.faults[0].text if part.faults else "",
        "fault_id": part.faults[0].id if part.faults else None,
        "fault_stops_play": bool(part.faults and part.faults[0].stops_play),
        "fixed": {fix.fault: fix.how for fix in part.fixed},
        "note": part.note,
        "checked": [name for name, fine in part.checks.items() if fine],
        **settings,
    }
    if cash.taken == "counted":
        initial["count"] = dict(cash.lines) if cash.lines else {"sum": cash.cents}
    for reading in part.readings:
        initial[f"reading_{reading.meter}"] = reading.value
        initial[f"explained_{reading.meter}"] = str(reading.explained_as)
        initial[f"reason_{reading.meter}"] = reading.reason
    for sort, pieces in (("found", part.found), ("loaded", part.loaded), ("removed", part.removed)):
        initial |= {f"{sort}_{one.prize}": one.pieces for one in pieces}
    return initial | {f"mix_{one.mix}": one.times for one in part.mixes}
