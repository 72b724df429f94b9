"""What people type about cabinets, their models, their status and their settings."""

from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from machines.cabinets.models import GONE, CabinetModel, Kind, Machine, Status
from machines.cabinets.queries import CurrentSettings
from machines.cabinets.rules_entry import LONGEST_CODE, clean_code, in_order
from routeapp.kit import pictures
from routeapp.kit.forms import CountField, MeasureField, MomentField, MoneyField
from routeapp.kit.units import LENGTH, WEIGHT


class PhotoField(forms.FileField):
    """A photo from a phone; cleans to a fresh JPEG without place and camera, or None when left empty."""

    widget = forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"})

    def clean(self, data: Any, initial: Any = None) -> bytes | None:
        file = super().clean(data, initial)
        if not file:
            return None
        try:
            return pictures.clean(file, file.size)
        except pictures.NotAPicture as problem:
            raise ValidationError(f"{problem} Choose another one; the rest of the form was kept.") from None


class MomentForm(forms.Form):
    """Something that happened at a moment, usually just now. `newest` is when the last such thing happened."""

    at = MomentField(label="When")

    def __init__(self, *args: Any, now: datetime, zone: str, newest: datetime | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.now, self.newest = now, newest
        self.fields["at"].zone = zone
        self.fields["at"].initial = now
        self.order_fields([name for name in self.fields if name != "at"])

    def clean_at(self) -> datetime:
        at = self.cleaned_data["at"]
        if at > self.now + timedelta(minutes=1):
            raise ValidationError("That moment is still to come.")
        return in_order(at, self.newest)


class CabinetFilter(forms.Form):
    status = forms.ChoiceField(required=False, choices=[("", "All we own"), *Status.choices])
    kind = forms.ChoiceField(required=False, choices=[("", "All kinds"), *Kind.choices])

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, label in {"status": "Status", "kind": "Kind"}.items():
            self.fields[name].widget.attrs["aria-label"] = label

    def chosen(self) -> dict[str, str]:
        """What to filter by; anything unreadable in the address counts as not chosen."""
        self.is_valid()
        return {name: self.cleaned_data.get(name, "") for name in self.fields}


class CabinetForm(forms.Form):
    code = forms.CharField(max_length=LONGEST_CODE, help_text="What you call it. It stands large on the label.")
    model = forms.ModelChoiceField(CabinetModel.objects.all(), empty_label="Choose a model")
    serial = forms.CharField(label="Serial number", max_length=60, required=False)
    notes = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), max_length=4000, required=False)
    photo = PhotoField(required=False, help_text="JPEG, PNG or WebP. Place and camera are taken out of the file.")

    def clean_code(self) -> str:
        try:
            return clean_code(self.cleaned_data["code"])
        except ValueError as problem:
            raise ValidationError(str(problem)) from None


class NewCabinetForm(CabinetForm):
    price_cents = MoneyField(
        label="Price per play", least=1, required=False, help_text="Left empty, it is the usual price of its model."
    )
    status = forms.ChoiceField(
        choices=[(status.value, status.label) for status in Status if status not in (Status.PLACED, *GONE)],
        initial=Status.READY,
        help_text="Placing it at a location comes next and sets “Placed” by itself.",
    )

    field_order = ["code", "model", "price_cents", "serial", "status", "photo", "notes"]

    def clean(self) -> dict[str, Any]:
        found = super().clean()
        if found.get("model") and found.get("price_cents", 0) is None:
            found["price_cents"] = found["model"].price_cents
        return found


class ModelForm(forms.ModelForm):
    kind = forms.ChoiceField(choices=Kind.choices)
    price_cents = MoneyField(label="Usual price per play", least=1)
    largest_prize_mm = MeasureField(what=LENGTH, label="Largest prize", required=False)
    width_mm = MeasureField(what=LENGTH, label="Width", required=False)
    depth_mm = MeasureField(what=LENGTH, label="Depth", required=False)
    height_mm = MeasureField(what=LENGTH, label="Height", required=False)
    weight_kg = MeasureField(what=WEIGHT, label="Weight", required=False)

    class Meta:
        model = CabinetModel
        fields = [
            "name",
            "kind",
            "price_cents",
            "prize_capacity",
            "largest_prize_mm",
            "checks",
            "width_mm",
            "depth_mm",
            "height_mm",
            "weight_kg",
            "watts",
            "plug",
            "arrival_checks",
            "bench_checks",
            "locks",
            "notes",
        ]
        field_classes = dict.fromkeys(["prize_capacity", "watts"], CountField)
        widgets = {
            name: forms.Textarea(attrs={"rows": 4 if name.endswith("checks") else 3})
            for name in ("checks", "arrival_checks", "bench_checks", "locks", "notes")
        }


class StatusForm(MomentForm):
    status = forms.ChoiceField(choices=Status.choices)
    note = forms.CharField(label="Why, or where it is now", max_length=200, required=False)
    sold_cents = MoneyField(label="If it was sold: for how much", required=False)


class SettingsForm(MomentForm):
    """Each setting starts at its present value; only what the person changes is kept."""

    grip_strength = CountField(label="Grip strength (%)", max_value=100, required=False)
    payout_target = CountField(label="Payout target (plays per prize)", min_value=1, max_value=9999, required=False)
    play_seconds = CountField(label="Play time (seconds)", min_value=1, max_value=999, required=False)
    credits_per_coin = CountField(label="Credits per coin", min_value=1, max_value=99, required=False)

    def __init__(self, *args: Any, current: CurrentSettings, **kwargs: Any) -> None:
        super().__init__(*args, newest=current.since, **kwargs)
        for name in self.fields.keys() - {"at"}:
            self.fields[name].initial = getattr(current, name)

    def changes(self) -> dict[str, int]:
        names = [name for name in self.changed_data if name != "at"]
        return {name: self.cleaned_data[name] for name in names}


def initial_from(machine: Machine | None, code: str) -> dict[str, Any]:
    """A new cabinet is probably like the one added last; the first one is of the model just described."""
    if machine is None:
        return {"code": code, "model": CabinetModel.objects.last()}
    return {"code": code, "model": machine.model_id, "price_cents": machine.price_cents}
