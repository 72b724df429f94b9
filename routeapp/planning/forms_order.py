"""What is ordered from a supplier of prizes, and on which terms."""

from collections.abc import Sequence
from typing import Any

from django import forms

from routeapp.kit.forms import CountField, MoneyField, OnceForm
from routeapp.planning.queries_order import Line
from routeapp.stock.models import Prize

MOST_PIECES = 1_000_000


class OrderForm(OnceForm):
    """A number of pieces for each prize of one supplier, filled in as advised."""

    def __init__(self, *args: Any, lines: Sequence[Line], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.prizes = {f"prize-{line.prize.pk}": line for line in lines}
        for name, line in self.prizes.items():
            self.fields[name] = CountField(
                label=line.prize.name,
                required=False,
                max_value=MOST_PIECES,
                initial=line.advice.quantity or None,
                help_text=line.why,
            )

    def lines(self) -> list[tuple[Prize, int]]:
        return [(line.prize, self.cleaned_data.get(name) or 0) for name, line in self.prizes.items()]


class TermsForm(forms.Form):
    lead_days = CountField(label="Days from order to delivery", max_value=365)
    spread_days = CountField(label="Give or take (days)", max_value=180)
    every_days = CountField(label="Ordered at every (days)", min_value=1, max_value=180)
    freight_cents = MoneyField(label="Freight of one order", required=False)
    free_from_cents = MoneyField(label="Freight is free from", required=False, help_text="Empty: it never is.")

    def clean_freight_cents(self) -> int:
        return self.cleaned_data["freight_cents"] or 0
