"""What people type about an agreement."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from locations.agreements.models import Agreement
from routeapp.kit.forms import DayField

FIRST_YEAR, YEARS_AHEAD = 2000, 10


class PercentField(forms.DecimalField):
    """A percentage from 0 to 100 with up to two decimals; cleans to whole hundredths of a percent."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "amount", "autocomplete": "off"})

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=100, decimal_places=2, max_digits=5, **kwargs)
        message = "Write a percentage from 0 to 100 with two decimals at most, for example 40 or 37.5."
        wrong = ("invalid", "min_value", "max_value", "max_digits", "max_decimal_places", "max_whole_digits")
        self.error_messages.update(dict.fromkeys(wrong, message))
        for validator in self.validators:
            validator.message = message

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(str(value or "").replace(",", ".").strip("% \u00a0\u202f"))

    def clean(self, value: Any) -> int | None:
        percent = super().clean(value)
        return None if percent is None else int(percent * 100)


class AgreementForm(forms.ModelForm):
    share = PercentField(label="The host's share of the take (%)")
    starts_on = DayField(label="In force from", help_text="A day in the past changes what earlier weeks show.")

    class Meta:
        model = Agreement
        fields = ["share", "starts_on", "settled", "paid", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["starts_on"].initial = today

    def clean_starts_on(self) -> date:
        day = self.cleaned_data["starts_on"]
        if not FIRST_YEAR <= day.year <= self.today.year + YEARS_AHEAD:
            raise ValidationError("That day is too far off to be meant.")
        return day

    def terms(self) -> dict[str, int]:
        return {"share": self.cleaned_data["share"]}
