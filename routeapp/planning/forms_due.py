"""What people promise to hosts and note for the next visit."""

from datetime import date
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError

from machines.cabinets.models import GONE, Machine
from routeapp.kit.forms import CountField, DayField
from routeapp.planning.models_due import Errand

LONGEST = 366  # days


class PromiseForm(forms.Form):
    every_days = CountField(label="At least every (days)", min_value=1, max_value=LONGEST)
    note = forms.CharField(label="To whom, and why", max_length=200, required=False)


class ToDoForm(forms.Form):
    uuid = forms.UUIDField(widget=forms.HiddenInput)
    errand = forms.ChoiceField(label="What", choices=Errand.choices)
    machine = forms.ModelChoiceField(Machine.objects.none(), label="Cabinet", required=False, empty_label="None")
    text = forms.CharField(label="In words", max_length=200, required=False)
    by_day = DayField(label="No later than", required=False, help_text="Of a permit or sticker: the day it runs out.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["machine"].queryset = Machine.objects.exclude(status__in=GONE)
        self.fields["uuid"].initial = uuid4

    def clean_by_day(self) -> date | None:
        day = self.cleaned_data["by_day"]
        if day and not 2000 <= day.year <= 2999:
            raise ValidationError("Only years from 2000 to 2999 make sense here.")
        return day
