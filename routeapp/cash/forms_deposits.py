"""What people say about a deposit: which bags, the pieces on its slip, and what the bank found."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from routeapp.cash import rules
from routeapp.cash.forms import CountForm
from routeapp.cash.models import Holder
from routeapp.kit import money
from routeapp.kit.forms import MoneyField, OnceForm, PastField


class DepositForm(OnceForm, CountForm):
    """A deposit of `bags`, with the pieces on its slip; those that counts told of stand in the fields already."""

    at = PastField(label="When it went to the bank")
    note = forms.CharField(label="Remarks", max_length=300, required=False)

    def __init__(
        self, *args: Any, bags: Sequence[Any], pieces: Mapping[str, int], now: datetime, **kwargs: Any
    ) -> None:
        super().__init__(*args, initial=pieces, **kwargs)
        del self.fields["sum"]
        self.bags, self.cents = bags, sum(bag.holds for bag in bags)
        self.fields["at"].zone, self.fields["at"].now = timezone.get_current_timezone_name(), now

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if self.errors or any(bag.holder == Holder.BANK for bag in self.bags):
            return said  # of what is at the bank the action speaks
        if (found := rules.total(self.lines(), money.active())) > self.cents:
            raise ValidationError(
                f"These coins and notes come to {money.as_text(found)}, but the bags hold {money.as_text(self.cents)}. "
                "Count the bag that holds more, or put the pieces right."
            )
        return said

    def lines(self) -> dict[str, int]:
        return self.result()[2]

    def facts(self) -> dict[str, Any]:
        given = {name: self.cleaned_data[name] for name in ("uuid", "at", "note")}
        return {**given, "bags": self.bags, "lines": self.lines()}


class FigureForm(forms.Form):
    cents = MoneyField(label="What the bank found")
    reason = forms.CharField(
        label="If it differs: what is known about it",
        max_length=150,
        required=False,
        help_text="A torn note, a roll of coins miscounted, or “nothing is known”.",
    )
