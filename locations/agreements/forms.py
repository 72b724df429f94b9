"""What people type about an agreement."""

from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from locations.agreements.models import Agreement
from locations.agreements.rules_terms import TermKind, TermLine
from routeapp.kit.forms import DayField, PercentField

FIRST_YEAR, YEARS_AHEAD = 2000, 10


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

    def terms(self) -> list[TermLine]:
        return [TermLine(TermKind.SHARE, rate_bp=self.cleaned_data["share"])]
