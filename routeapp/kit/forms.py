"""Form fields that every feature needs: money, moments in a place's time zone, whole counts."""

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils import timezone

from routeapp.kit import money, units
from routeapp.kit.errors import Refused
from routeapp.kit.people import active_people, called

LARGEST_COUNT = 999_999_999
LARGEST_MEASURE = 99_999  # millimetres, inches, kilograms or pounds
FIRST_YEAR, LAST_YEAR = 2000, 2999
YEARS_AHEAD = 10


class OnceForm(forms.Form):
    """The hidden id, made when the form is opened, makes the same form sent twice one."""

    uuid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)


class MoneyField(forms.CharField):
    """Text with a decimal keypad on phones; cleans to whole minor units (int), or None when left empty.

    `code` is the currency (ISO 4217) where it is not that of the business.
    """

    widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "amount", "autocomplete": "off"})

    def __init__(self, *, least: int = 0, code: str | None = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least, self.code = least, code

    def prepare_value(self, value: Any) -> Any:
        return money.as_input(value, self.code) if isinstance(value, int) else value

    def clean(self, value: Any) -> int | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            cents = money.parse(text, self.code)
        except ValueError as problem:
            raise ValidationError(str(problem)) from None
        if cents < self.least:
            raise ValidationError(f"The least that makes sense here is {money.as_text(self.least, self.code)}.")
        if cents > LARGEST_COUNT:
            raise ValidationError("That amount is too large to be meant.")
        return cents


GROUPED = re.compile(r"(?!0[.,])\d{1,3}(?:[.,'\s]\d{3})+")  # 12.310, 12,310 and 12 310


class CountField(forms.IntegerField):
    """A whole number from 0 up, with a number pad on phones. Signs between thousands are none of a decimal."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("min_value", 0)
        kwargs.setdefault("max_value", LARGEST_COUNT)
        super().__init__(**kwargs)
        self.error_messages |= {
            "min_value": "The least that makes sense here is %(limit_value)s.",
            "max_value": "The most that makes sense here is %(limit_value)s.",
        }
        self.widget.attrs.update({"inputmode": "numeric", "autocomplete": "off"})

    def to_python(self, value: Any) -> int | None:
        text = str(value).strip() if value is not None else ""
        return super().to_python(re.sub(r"\D", "", text) if GROUPED.fullmatch(text) else text)


class NumberField(forms.DecimalField):
    """A number with decimals, typed with a point or a comma."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "amount", "autocomplete": "off"})

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(str(value or "").replace(",", "."))


class MeasureField(NumberField):
    """A size or weight in the business's unit; cleans to whole millimetres, litres or kilograms, None when empty."""

    def __init__(self, *, what: str, label: str, **kwargs: Any) -> None:
        super().__init__(
            min_value=0,
            max_value=LARGEST_MEASURE,
            decimal_places=2 if what == units.VOLUME else 1,
            label=label,
            **kwargs,
        )
        self.what, self.plain = what, label

    def get_bound_field(self, form: forms.BaseForm, field_name: str) -> forms.BoundField:
        self.label = f"{self.plain} ({units.sign(self.what)})"
        return super().get_bound_field(form, field_name)

    def prepare_value(self, value: Any) -> Any:
        return units.shown(value, self.what) if isinstance(value, int) else value

    def clean(self, value: Any) -> int | None:
        typed = super().clean(value)
        return None if typed is None else units.kept(typed, self.what)


class PercentField(NumberField):
    """A percentage from 0 to 100 with up to two decimals; cleans to whole hundredths of a percent."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=100, decimal_places=2, max_digits=5, **kwargs)
        message = "Write a percentage from 0 to 100 with two decimals at most, for example 40 or 37.5."
        wrong = ("invalid", "min_value", "max_value", "max_digits", "max_decimal_places", "max_whole_digits")
        self.error_messages.update(dict.fromkeys(wrong, message))
        for validator in self.validators:
            validator.message = message

    def prepare_value(self, value: Any) -> Any:
        return f"{value / 100:g}" if isinstance(value, int) else value

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(str(value or "").strip("% \u00a0\u202f"))

    def clean(self, value: Any) -> int | None:
        percent = super().clean(value)
        return None if percent is None else int(percent * 100)


class MomentField(forms.DateTimeField):
    """A date and time as typed at a place; set `zone` (IANA name) before cleaning. Cleans to an aware moment."""

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def __init__(self, *, zone: str = "UTC", **kwargs: Any) -> None:
        super().__init__(input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"], **kwargs)
        self.zone = zone

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, datetime) and timezone.is_aware(value):
            return value.astimezone(ZoneInfo(self.zone)).replace(tzinfo=None)
        return value

    def to_python(self, value: Any) -> datetime | None:
        with timezone.override(ZoneInfo(self.zone)):
            try:
                moment = super().to_python(value)
            except OverflowError:
                raise ValidationError("That date is outside the calendar.") from None
            except ValidationError as problem:
                if problem.code != "ambiguous_timezone":
                    raise
                moment = self._at_a_clock_change(problem.params["datetime"])
        # The first and last days of the calendar cannot be shown in another time zone.
        if moment and not FIRST_YEAR <= moment.year <= LAST_YEAR:
            raise ValidationError(f"Only years from {FIRST_YEAR} to {LAST_YEAR} make sense here.")
        return moment

    def _at_a_clock_change(self, typed: datetime) -> datetime:
        """The first of two moments the clock showed; there is none in the hour that it left out."""
        moment, zone = typed.replace(tzinfo=ZoneInfo(self.zone)).astimezone(UTC), ZoneInfo(self.zone)
        if moment.astimezone(zone).replace(tzinfo=None) != typed:
            raise ValidationError("The clock was put forward then and never showed this time. Write it an hour later.")
        return moment


def near(day: date | None, today: date) -> date | None:
    """A day that can be meant where something is in force from it on."""
    if day and day.year > today.year + YEARS_AHEAD:
        raise ValidationError("That day is too far off to be meant.")
    return day


class PastField(MomentField):
    """When something happened, for what is mostly entered at once: left empty it is `now`, which the form sets."""

    now: datetime

    def __init__(self, **kwargs: Any) -> None:
        words = {"label": "When", "help_text": "Leave it empty if it is happening now."}
        super().__init__(required=False, **{**words, **kwargs})

    def clean(self, value: Any) -> datetime:
        moment = super().clean(value) or self.now
        if moment > self.now + timedelta(minutes=1):
            raise ValidationError("That moment is still to come.")
        return moment


class PicksField(forms.ModelMultipleChoiceField):
    """Rows to tick."""

    widget = forms.CheckboxSelectMultiple

    def clean(self, value: Any) -> Any:
        return super().clean([one for one in value or [] if len(one) < 19])  # no database counts further


class UsualField(forms.ChoiceField):
    """A choice that is the usual one where nothing was sent, as in an address that names only some fields."""

    def clean(self, value: Any) -> Any:
        return super().clean(value or self.initial)

    def bound_data(self, data: Any, initial: Any) -> Any:
        return data or self.initial


class PersonField(forms.ModelChoiceField):
    """One of the people who can sign in."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(active_people(), **kwargs)

    def label_from_instance(self, person: Any) -> str:
        return called(person)


class DayField(forms.DateField):
    """A day that can be meant: within `years`, the first and the last."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")

    def __init__(self, *, years: tuple[int, int] = (FIRST_YEAR, LAST_YEAR), **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.years = years

    def clean(self, value: Any) -> date | None:
        day = super().clean(value)
        first, last = self.years
        if day and not first <= day.year <= last:
            raise ValidationError(f"Only years from {first} to {last} make sense here.")
        return day


def add_refusal(form: forms.BaseForm, refusal: Refused) -> None:
    """Show what an action refused beside the field it is about, or above the form."""
    field = refusal.field if refusal.field in form.fields else None
    form.add_error(field, refusal.message)


def sent(request: HttpRequest) -> dict[str, Any]:
    """The arguments that bind a form to what was posted; none when the page was only opened."""
    return {"data": request.POST, "files": request.FILES} if request.method == "POST" else {}


def accepted(form: forms.BaseForm, action: Callable, **arguments: Any) -> Any:
    """Carry out `action` with what a valid form brought. Gives what it made, True where it makes nothing; None where it
    refuses, which is shown in the form."""
    try:
        return action(**arguments) or True
    except Refused as refusal:
        add_refusal(form, refusal)
        return None
