"""What people say about a bank statement: the file, its columns, and what a row is."""

from collections.abc import Sequence
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError

from routeapp.cash.actions_bank import BOOKABLE
from routeapp.cash.models_bank import BankRow
from routeapp.cash.queries_bank import Event
from routeapp.kit import money
from routeapp.kit.reading.forms import ColumnsForm, FileForm, file_field


class StatementForm(FileForm):
    file = file_field("The bank's file", "A text file (.csv) or a workbook (.xlsx) from the bank's own pages.")
    largest, advice = 10, "Bring a shorter time at once."


class StatementColumnsForm(ColumnsForm):
    account = forms.CharField(
        label="Which account is this?", max_length=80, help_text="As you call it among yourselves."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["zone"].widget = forms.HiddenInput()
        self.fields["account"].initial = kwargs["remembered"].get("account", "")

    def check(self, meanings: set[str]) -> None:
        if not meanings & {"amount", "money_in", "money_out"}:
            raise ValidationError("Say which column holds the amount, or which two hold money in and money out.")
        if "amount" in meanings and meanings & {"money_in", "money_out"}:
            raise ValidationError("Either one column holds the amount, or two hold money in and out. Leave one out.")


class MatchForm(forms.Form):
    uuid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    events = forms.MultipleChoiceField(
        label="What is it in the books?",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose what it is."},
    )
    rows = forms.MultipleChoiceField(
        label="Other rows of the bank that belong to it", widget=forms.CheckboxSelectMultiple, required=False
    )
    reason = forms.CharField(
        label="If the bank found another sum: what is known about it", max_length=150, required=False
    )

    def __init__(self, *args: Any, known: Sequence[Event], others: Sequence[BankRow], **kwargs: Any) -> None:
        super().__init__(*args, auto_id="match_%s", **kwargs)
        self.fields["events"].choices = [(one.key, _named(one.cents, one.day, one.what)) for one in known]
        self.fields["rows"].choices = [(str(one.pk), _named(one.cents, one.day, one.text)) for one in others]
        if not others:
            del self.fields["rows"]


def _named(cents: int, day: Any, words: str) -> str:
    return f"{money.as_text(cents)}, {day.day} {day:%b %Y}: {words[:80]}"


class BookForm(forms.Form):
    uuid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    other = forms.ChoiceField(label="What is it?", choices=[(one.value, one.label) for one in BOOKABLE])
    reason = forms.CharField(label="In a few words", max_length=150, help_text="For example “monthly charge”.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="book_%s", **kwargs)


class AsideForm(forms.Form):
    uuid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    reason = forms.CharField(label="Why it is none of the business's", max_length=150)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="aside_%s", **kwargs)
