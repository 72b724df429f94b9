"""What people type about a location and its hours."""

from collections.abc import Sequence
from datetime import time
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from locations.sites import rules
from locations.sites.models import Location, Weekday
from locations.sites.rules import ALL_DAY, END_OF_DAY, Stretch
from routeapp.kit import clock

COORDINATE = {"inputmode": "decimal", "autocomplete": "off", "class": "amount"}


class CoordinateField(forms.DecimalField):
    """Degrees with up to six decimals, kept to about a hand's breadth; a phone's further decimals are rounded off."""

    widget = forms.TextInput(attrs=COORDINATE)

    def __init__(self, *, most: int, **kwargs: Any) -> None:
        limits = {"min_value": -most, "max_value": most, "max_digits": None, "decimal_places": None}
        super().__init__(required=False, **limits, **kwargs)
        message = f"Write degrees from −{most} to {most}, for example 12.345678; south and west are negative."
        self.error_messages.update(dict.fromkeys(["invalid", "min_value", "max_value"], message))

    def to_python(self, value: Any) -> Any:
        text = str(value or "").replace(",", ".").replace("−", "-").strip()
        degrees = super().to_python(text)
        return round(degrees, 6) if degrees is not None and degrees.is_finite() and abs(degrees) < 1000 else degrees


class LocationForm(forms.ModelForm):
    new_host = forms.CharField(label="Or the name of a new host", max_length=120, required=False)
    latitude = CoordinateField(most=90)
    longitude = CoordinateField(most=180)
    time_zone = forms.ChoiceField(choices=clock.zone_choices, help_text="Hours, days and weeks follow it.")

    class Meta:
        model = Location
        fields = [
            "name",
            "host",
            "new_host",
            "address",
            "latitude",
            "longitude",
            "time_zone",
            "access_notes",
            "power_notes",
            "signal_notes",
            "notes",
        ]
        widgets = {name: forms.Textarea(attrs={"rows": 3}) for name in ("address", "access_notes", "notes")}
        help_texts = {
            "access_notes": "Doors, stairs, keys, whom to ask.",
            "power_notes": "Outlets, plug, what else hangs on them.",
            "signal_notes": "Where a phone works, and where it does not.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["host"].required = False
        self.fields["host"].empty_label = "Choose a host"

    def validate_unique(self) -> None:
        """Left to the action, which knows a form sent twice from a name used twice."""

    def clean(self) -> dict[str, Any]:
        found = super().clean()
        if bool(found.get("host")) == bool(found.get("new_host")) and "host" not in self.errors:
            both = "Choose a host or write a new one, not both."
            self.add_error("host", both if found.get("host") else "Choose the host, or write a new one below.")
        given = [name for name in ("latitude", "longitude") if found.get(name) is not None]
        if len(given) == 1 and not self.errors.keys() & {"latitude", "longitude"}:
            missing = {"latitude": "longitude", "longitude": "latitude"}[given[0]]
            self.add_error(missing, "Both coordinates belong together: write this one too, or neither.")
        return found


class DayForm(forms.Form):
    """One weekday: up to two stretches. Left empty, the place is closed that day."""

    all_day = forms.BooleanField(label="Open all day", required=False)
    opens = forms.TimeField(label="Opens", required=False)
    closes = forms.TimeField(label="Closes", required=False)
    opens_again = forms.TimeField(label="Opens again", required=False)
    closes_again = forms.TimeField(label="Closes again", required=False)

    def __init__(self, *args: Any, day: Weekday, stretches: Sequence[Stretch] = (), **kwargs: Any) -> None:
        super().__init__(*args, prefix=f"day{day.value}", initial=_initial(stretches), **kwargs)
        self.day = day
        for name in TIMES:
            self.fields[name].widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")

    def first(self) -> list[forms.BoundField]:
        return [self[name] for name in TIMES[:2]]

    def second(self) -> list[forms.BoundField]:
        return [self[name] for name in TIMES[2:]]

    def has_second(self) -> bool:
        return any(field.value() or field.errors for field in self.second())

    def clean(self) -> dict[str, Any]:
        found = super().clean()
        self.stretches = [ALL_DAY] if found.get("all_day") else self._typed(found)
        if text := rules.problem(self.stretches):
            raise ValidationError(text)
        return found

    def _typed(self, found: dict[str, Any]) -> list[Stretch]:
        typed = []
        for opens, closes in (TIMES[:2], TIMES[2:]):
            start, end = found.get(opens), found.get(closes)
            if (start is None) != (end is None) and not self.errors:
                raise ValidationError("Write both times of a stretch, or neither.")
            if start is not None and end is not None:
                typed.append((start, rules.closing(end)))
        return typed


TIMES = ("opens", "closes", "opens_again", "closes_again")


def _initial(stretches: Sequence[Stretch]) -> dict[str, Any]:
    if list(stretches) == [ALL_DAY]:
        return {"all_day": True}
    moments = [moment for stretch in stretches for moment in stretch]
    return {name: time(0) if moment == END_OF_DAY else moment for name, moment in zip(TIMES, moments, strict=False)}


def like_monday(data: QueryDict) -> QueryDict:
    """The posted hours with Monday's written on Tuesday to Friday too."""
    copied = data.copy()
    for name in ("all_day", *TIMES):
        for day in (Weekday.TUESDAY, Weekday.WEDNESDAY, Weekday.THURSDAY, Weekday.FRIDAY):
            copied.setlist(f"day{day.value}-{name}", data.getlist(f"day{Weekday.MONDAY.value}-{name}"))
    return copied
