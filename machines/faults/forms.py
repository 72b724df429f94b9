"""What people write about a fault: strangers from the label, our own people from the cabinet's page."""

from typing import Any

from django import forms

from machines.faults.models import About, Via
from routeapp.kit.forms import MoneyField, OnceForm


class ReportForm(OnceForm):
    """The questions anybody may be asked. The hidden id makes the same report sent twice one report."""

    text = forms.CharField(label="What is wrong?", max_length=1000, widget=forms.Textarea(attrs={"rows": 4}))
    amount_cents = MoneyField(label="Money lost", required=False)
    contact = forms.CharField(label="How to reach the person", max_length=200, required=False)


class FaultForm(ReportForm):
    via = forms.ChoiceField(
        label="How do you know?",
        choices=[(Via.OFFICE, "I saw it myself"), (Via.HOST, "The host told us")],
        initial=Via.OFFICE,
    )
    stops_play = forms.BooleanField(label="Nobody can play until it is fixed", required=False)

    def clean(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {**data, "about": About.LOST_MONEY if data.get("amount_cents") else About.FAULT}


class FixForm(forms.Form):
    how = forms.CharField(label="What did you do?", max_length=500, widget=forms.Textarea(attrs={"rows": 3}))
