"""What people type about who drives what and when."""

from datetime import time
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from locations.sites.forms import CoordinateField
from locations.sites.models import Location, Weekday
from routeapp.kit.forms import CountField, DayField, MoneyField
from routeapp.planning.models_rounds import Driver, Vehicle, Wish

MOST_PIECES = 100_000
MOST_MINUTES = 24 * 60
MOST_RATE = 100_000_00  # minor units an hour or a kilometre; more is a slip of the finger


def since_field() -> DayField:
    return DayField(
        label="These costs hold from", required=False, help_text="Empty: today. Trips before that day keep their cost."
    )


class VehicleForm(forms.Form):
    name = forms.CharField(label="What it is called", max_length=60)
    pieces = CountField(label="Prizes it can carry", max_value=MOST_PIECES, help_text="As many as are loaded at most.")
    cents_per_km = MoneyField(label="Cost of a kilometre", help_text="Fuel, tyres, repairs and what it loses in worth.")
    retired = forms.BooleanField(label="No longer driven", required=False)

    def __init__(self, *args: Any, vehicle: Vehicle | None, **kwargs: Any) -> None:
        initial = {name: getattr(vehicle, name) for name in self.base_fields if vehicle}
        super().__init__(*args, initial=initial, **kwargs)
        if vehicle:
            self.fields["since"] = since_field()

    def clean_cents_per_km(self) -> int:
        return _rate(self.cleaned_data["cents_per_km"])


class DriverForm(forms.Form):
    vehicle = forms.ModelChoiceField(Vehicle.objects.filter(retired=False), required=False, empty_label="None yet")
    start_name = forms.CharField(label="Sets out from", max_length=120, help_text="The store, or home.")
    start_latitude = CoordinateField(most=90, label="Its latitude")
    start_longitude = CoordinateField(most=180, label="Its longitude")
    end_name = forms.CharField(label="Comes home to", max_length=120, required=False, help_text="Empty: the same.")
    end_latitude = CoordinateField(most=90, label="Its latitude")
    end_longitude = CoordinateField(most=180, label="Its longitude")
    cents_per_hour = MoneyField(label="Cost of an hour", help_text="Wage and what comes on top; your own hours too.")
    most_driving = CountField(
        label="Minutes at the wheel a day, at most",
        required=False,
        max_value=MOST_MINUTES,
        help_text="Local rules on driving and rest hold; ask those who know them.",
    )
    retired = forms.BooleanField(label="Drives no longer", required=False)

    def __init__(self, *args: Any, driver: Driver | None, **kwargs: Any) -> None:
        names = [name for name in self.base_fields if driver]
        initial = {name: getattr(driver, name) for name in names}
        super().__init__(*args, initial=initial, **kwargs)
        for name in ("start_latitude", "start_longitude"):
            self.fields[name].required = True
        if driver:
            self.fields["since"] = since_field()
        shifts = {one.weekday: one for one in driver.shifts.all()} if driver else {}
        for day in Weekday:
            for name in ("starts", "ends"):
                kept = getattr(shifts.get(day.value), name, None)
                self.fields[f"{name}{day.value}"] = forms.TimeField(
                    label=name.capitalize(),
                    required=False,
                    initial=kept,
                    widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
                )

    def week(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        """Each weekday with its two fields."""
        return [(day.label, self[f"starts{day.value}"], self[f"ends{day.value}"]) for day in Weekday]

    def clean_cents_per_hour(self) -> int:
        return _rate(self.cleaned_data["cents_per_hour"])

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        if (said.get("end_latitude") is None) != (said.get("end_longitude") is None):
            self.add_error("end_longitude", "Write both coordinates, or neither.")
        self.hours = {day.value: hours for day in Weekday if (hours := self._hours(day))}
        return said

    def _hours(self, day: Weekday) -> tuple[time, time] | None:
        starts, ends = self.cleaned_data.get(f"starts{day.value}"), self.cleaned_data.get(f"ends{day.value}")
        if starts and ends and starts < ends:
            return starts, ends
        if (starts or ends) and not {f"starts{day.value}", f"ends{day.value}"} & set(self.errors):
            self.add_error(f"ends{day.value}", "Write when it starts and, later that day, when it ends.")
        return None

    def columns(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.base_fields} | {"since": self.cleaned_data.get("since")}


def _rate(cents: int | None) -> int:
    if cents is None or cents > MOST_RATE:
        raise ValidationError("That cannot be right.")
    return cents


class PinForm(forms.Form):
    location = forms.ModelChoiceField(Location.objects.filter(closed_on=None), empty_label="Choose the location")
    wish = forms.ChoiceField(label="It is", choices=Wish.choices)
    day = DayField(label="Day")
    reason = forms.CharField(max_length=200, required=False, label="Why", help_text="What was promised, and to whom.")
