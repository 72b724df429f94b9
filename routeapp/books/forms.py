"""What people say when a month is closed or opened again."""

from datetime import date
from typing import Any

from django import forms


class CloseForm(forms.Form):
    """The month stands in the form, so that one sent twice closes one month."""

    month = forms.DateField(widget=forms.HiddenInput)
    note = forms.CharField(
        label="Remarks", max_length=300, required=False, help_text="Needed while a point of the list is open."
    )

    def clean_month(self) -> date:
        return self.cleaned_data["month"].replace(day=1)


class ReopenForm(forms.Form):
    reason = forms.CharField(label="Why is it opened again?", max_length=300)


def year_of(said: Any, today: date) -> int | None:
    """A year from the address that can be meant; none for all of them."""
    text = str(said or "")
    return int(text) if text.isdecimal() and len(text) == 4 and 2000 <= int(text) <= today.year + 1 else None
