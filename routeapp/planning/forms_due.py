"""What people promise to hosts and note for the next visit."""

from typing import Any

from django import forms

from machines.cabinets.models import GONE, Machine
from routeapp.kit.forms import CountField, DayField, OnceForm
from routeapp.planning.models_due import Errand

LONGEST = 366  # days


class PromiseForm(forms.Form):
    every_days = CountField(label="At least every (days)", min_value=1, max_value=LONGEST)
    note = forms.CharField(label="To whom, and why", max_length=200, required=False)


class ToDoForm(OnceForm):
    errand = forms.ChoiceField(label="What", choices=Errand.choices)
    machine = forms.ModelChoiceField(Machine.objects.none(), label="Cabinet", required=False, empty_label="None")
    text = forms.CharField(label="In words", max_length=200, required=False)
    by_day = DayField(label="No later than", required=False, help_text="Of a permit or sticker: the day it runs out.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["machine"].queryset = Machine.objects.exclude(status__in=GONE)
