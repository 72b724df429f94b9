"""The visit page's form about one cabinet. With the one about the stop these make a visit document.

Fields are also made for what was posted, so that a form sent twice says the same the second time, even when the
first already changed what stands in the cabinet.
"""

import re
from collections.abc import Iterable
from typing import Any
from uuid import UUID, uuid5

from django import forms

from machines.cabinets.queries_meters import counts_per_play
from machines.cabinets.rules import Explanation
from machines.faults.models import Fault
from routeapp.cash.forms import CountForm
from routeapp.kit.forms import CountField
from routeapp.stock.models import Mix
from routeapp.visits.queries_sheet import CabinetSheet, Sheet

SORTS = {"found": "Found", "loaded": "Loaded", "removed": "Taken out"}
SETTINGS = ("grip_strength", "payout_target", "play_seconds", "credits_per_coin")


class ManyFilesInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class PhotosField(forms.FileField):
    """Any number of photos; cleans to a list of uploaded files."""

    widget = ManyFilesInput(attrs={"accept": "image/jpeg,image/png,image/webp"})

    def clean(self, data: Any, initial: Any = None) -> list:
        return [super(PhotosField, self).clean(one, initial) for one in data or [] if one]


class CabinetForm(forms.Form):
    """One cabinet: meters, money, prizes, settings, checks, faults. Its prefix is made from the cabinet's id."""

    tests = CountField(label="Free test plays", required=False, max_value=10_000)
    tests_first = forms.BooleanField(label="made before the meters were read", required=False)
    bag_number = forms.CharField(label="or sealed uncounted in bag number", max_length=40, required=False)
    estimate = CountField(required=False, widget=forms.HiddenInput)  # what the meters say is sealed, set by the page
    found_estimated = forms.BooleanField(label="estimated, not counted", required=False)
    other_prize = forms.TypedChoiceField(label="Another prize", coerce=int, empty_value=None, required=False)
    other_found = CountField(label="pieces found inside", required=False)
    other_pieces = CountField(label="pieces loaded", required=False)
    grip_strength = CountField(label="Grip strength (%)", required=False, max_value=100)
    payout_target = CountField(label="Payout target (plays per prize)", required=False, min_value=1, max_value=32000)
    play_seconds = CountField(label="Play time (seconds)", required=False, min_value=1, max_value=32000)
    credits_per_coin = CountField(label="Credits per coin", required=False, max_value=32000)
    fault = forms.CharField(label="What is wrong now?", max_length=1000, required=False)
    fault_stops_play = forms.BooleanField(label="nobody can play", required=False)
    photos = PhotosField(label="Photos", required=False)
    note = forms.CharField(label="Note about this cabinet", max_length=4000, required=False)

    def __init__(self, *args: Any, cabinet: CabinetSheet, sheet: Sheet, **kwargs: Any) -> None:
        super().__init__(*args, prefix=f"c{cabinet.machine.pk}", **kwargs)
        self.cabinet, self.mixes = cabinet, sheet.mixes
        kept = self.data.getlist(f"{self.prefix}-kept") if self.data else []
        self.kept = [UUID(photo) for photo in kept if _is_uuid(photo)]  # photos that came with an earlier try
        self.refused_photos: list[str] = []
        self.count = CountForm(self.data or None, prefix=f"{self.prefix}-cash", initial=self.initial.get("count"))
        self.fields["other_prize"].choices = [("", "–"), *((prize.pk, prize.name) for prize in sheet.prizes)]
        self._add_fields(sheet)

    def _add_fields(self, sheet: Sheet) -> None:
        prizes, fixed = [prize.pk for prize, _ in self.cabinet.prizes], self.initial.get("fixed", {})
        for meter in self._ids("reading", [meter.pk for meter in self.cabinet.meters]):
            self.fields[f"reading_{meter}"] = CountField(required=False)
            self.fields[f"explained_{meter}"] = forms.ChoiceField(choices=Explanation.choices, required=False)
            self.fields[f"reason_{meter}"] = forms.CharField(max_length=300, required=False)
        for sort, label in SORTS.items():
            for prize in self._ids(sort, prizes):
                self.fields[f"{sort}_{prize}"] = CountField(label=label, required=False)
        names = {mix.pk: f"{mix.name} loaded, times" for mix in sheet.mixes}
        for mix in self._ids("mix", names):
            self.fields[f"mix_{mix}"] = CountField(label=names.get(mix), required=False)
        checked = self.initial.get("checked", [])
        for number, check in enumerate(dict.fromkeys([*self.cabinet.machine.model.check_list(), *checked])):
            fine = check in checked
            self.fields[f"check_{number}"] = forms.BooleanField(label=check, required=False, initial=fine)
        how = {fault.pk: fixed.get(fault.uuid) for fault in self.cabinet.faults}
        for fault in self._ids("fix", how):
            self.fields[f"fix_{fault}"] = forms.CharField(max_length=500, required=False, initial=how.get(fault))
        for name in SETTINGS:
            now = getattr(self.cabinet.settings, name)
            self.fields[name].help_text = "never set" if now is None else f"now {now}"

    def reading_lines(self) -> list[dict[str, Any]]:
        """For the page: each meter with its fields, and whether something about it must be explained."""
        return [
            {
                "meter": meter,
                "per_play": counts_per_play(meter),
                "usual": self.cabinet.usual.get(meter.pk, ""),
                "field": self[f"reading_{meter.pk}"],
                "explained": self[f"explained_{meter.pk}"],
                "reason": self[f"reason_{meter.pk}"],
                "asked": self[f"reading_{meter.pk}"].errors or self[f"explained_{meter.pk}"].value(),
            }
            for meter in self.cabinet.meters
        ]

    def prize_lines(self) -> list[dict[str, Any]]:
        """For the page: each prize that is inside, with what should be there and its three fields."""
        lines = []
        for prize, pieces in self.cabinet.prizes:
            fields = [self[f"{sort}_{prize.pk}"] for sort in SORTS]
            lines.append({"prize": prize, "pieces": pieces, "fields": fields})
        return lines

    def mix_fields(self) -> list[Any]:
        """The mixes with something in common with what is inside, and those filled in; all of them for an empty one."""
        return [self[f"mix_{mix.pk}"] for mix in self.mixes if self._is_usual(mix)]

    def other_mix_fields(self) -> list[Any]:
        return [self[f"mix_{mix.pk}"] for mix in self.mixes if not self._is_usual(mix)]

    def _is_usual(self, mix: Mix) -> bool:
        inside = {prize.pk for prize, _ in self.cabinet.prizes}
        given = self[f"mix_{mix.pk}"].value() not in (None, "")
        return given or not inside or any(line.prize_id in inside for line in mix.lines.all())

    def settings_fields(self) -> list[Any]:
        return [self[name] for name in SETTINGS]

    def check_fields(self) -> list[Any]:
        return [self[name] for name in self.fields if name.startswith("check_")]

    def fix_lines(self) -> list[dict[str, Any]]:
        return [{"fault": fault, "field": self[f"fix_{fault.pk}"]} for fault in self.cabinet.faults]

    def _ids(self, sort: str, known: Iterable[int]) -> list[int]:
        """Ids to make fields of one sort for: those the page knows, and those that were posted."""
        pattern = re.compile(rf"{self.prefix}-{sort}_(\d{{1,18}})")
        posted = [int(match[1]) for match in map(pattern.fullmatch, self.data) if match]
        asked = [int(name[len(sort) + 1 :]) for name in self.initial if re.fullmatch(rf"{sort}_\d+", name)]
        return list(dict.fromkeys([*known, *asked, *posted]))

    def is_valid(self) -> bool:
        return super().is_valid() & self.count.is_valid()

    def clean(self) -> dict[str, Any]:
        """Nothing that was typed may be dropped because something else is missing or contradicts it."""
        said = super().clean() or self.cleaned_data
        names = {"other_prize", "other_found", "other_pieces"} & said.keys()
        told = [said[name] for name in ("other_found", "other_pieces") if said.get(name) is not None]
        if len(names) == 3 and bool(told) != bool(said["other_prize"]):
            self.add_error("other_prize", "Say which prize and how many pieces, or leave all of it empty.")
        if said.get("bag_number") and self.count.is_valid() and self.count.is_filled():
            self.add_error("bag_number", "The cash is counted above. Leave one of the two empty.")
        return said

    def _filled(self, sort: str) -> dict[int, Any]:
        """What was typed into the fields of one sort, by id."""
        return {
            int(name.rpartition("_")[2]): value
            for name, value in self.cleaned_data.items()
            if name.startswith(f"{sort}_") and name.rpartition("_")[2].isdigit() and (value or type(value) is int)
        }

    def part(self, visit: UUID) -> dict[str, Any] | None:
        """This cabinet's service entry as a part of the document, or None when nothing was done to it."""
        said, read = self.cleaned_data, self._filled("reading")
        tests = said["tests"] or 0
        part: dict[str, Any] = {
            "readings": [self._reading(meter, value) for meter, value in read.items()],
            "tests_before": tests if said["tests_first"] else 0,
            "tests_after": 0 if said["tests_first"] else tests,
            "cash": self._cash(visit),
            "found": _pieces(self._with_other("found", "other_found")),
            "found_estimated": said["found_estimated"],
            "loaded": _pieces(_some(self._with_other("loaded", "other_pieces"))),
            "removed": _pieces(_some(self._filled("removed"))),
            "mixes": [{"mix": mix, "times": times} for mix, times in self._filled("mix").items() if times],
            "settings": self._settings(),
            "checks": {self.fields[f"check_{number}"].label: True for number in self._filled("check")},
            "faults": self._faults(visit),
            "fixed": self._fixes(),
            "photos": [str(photo) for photo in dict.fromkeys(self.kept)],
            "note": said["note"],
        }
        if not any(value for name, value in part.items() if name != "found_estimated"):
            return None
        machine = self.cabinet.machine.pk
        return {"id": str(uuid5(visit, f"entry {machine}")), "machine": machine, **part, "cash": part["cash"] or {}}

    def _reading(self, meter: int, value: int) -> dict[str, Any]:
        said = self.cleaned_data
        explained = {"explained_as": said[f"explained_{meter}"], "reason": said[f"reason_{meter}"]}
        return {"meter": meter, "value": value, **explained}

    def _cash(self, visit: UUID) -> dict[str, Any] | None:
        if number := self.cleaned_data["bag_number"]:
            bag = {"id": str(self._bag_id(visit, number)), "number": number}
            return {"taken": "sealed", "bag": bag, "estimate_cents": self.cleaned_data["estimate"] or 0}
        if not self.count.is_filled():
            return None
        how, cents, lines = self.count.result()
        return {"taken": "counted", "how": str(how), "cents": cents, "lines": lines}

    def _bag_id(self, visit: UUID, number: str) -> UUID:
        """The bag this cabinet's cash was sealed in before, when the visit is a correction; else one per number."""
        return self.initial.get("bag_id") or uuid5(visit, f"bag {number}")

    def _with_other(self, sort: str, name: str) -> dict[int, int]:
        pieces, other, more = self._filled(sort), self.cleaned_data["other_prize"], self.cleaned_data[name]
        return pieces | {other: pieces.get(other, 0) + more} if other and more is not None else pieces

    def _settings(self) -> dict[str, int] | None:
        return {name: self.cleaned_data[name] for name in SETTINGS if self.cleaned_data[name] is not None} or None

    def _faults(self, visit: UUID) -> list[dict[str, Any]]:
        said = self.cleaned_data
        if not said["fault"]:
            return []
        fault = self.initial.get("fault_id") or uuid5(visit, f"fault {self.cabinet.machine.pk}")
        return [{"id": str(fault), "text": said["fault"], "stops_play": said["fault_stops_play"]}]

    def _fixes(self) -> list[dict[str, str]]:
        fixed = self._filled("fix")
        ids = dict(Fault.objects.filter(pk__in=fixed).values_list("pk", "uuid"))
        return [{"fault": str(ids[pk]), "how": how} for pk, how in fixed.items() if pk in ids]


def _is_uuid(text: str) -> bool:
    return bool(re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", text))


def _some(filled: dict[int, int]) -> dict[int, int]:
    """Without the zeros: to have found none tells something, to have loaded none does not."""
    return {key: pieces for key, pieces in filled.items() if pieces}


def _pieces(filled: dict[int, int]) -> list[dict[str, int]]:
    return [{"prize": prize, "pieces": pieces} for prize, pieces in filled.items()]
