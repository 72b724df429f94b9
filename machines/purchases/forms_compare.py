"""What a comparison is for. It is all in the address, so that a comparison can be kept and passed on."""

from collections.abc import Sequence
from typing import Any

from django import forms

from machines.purchases.models import Quote
from machines.purchases.rules_compare import Purpose
from routeapp.kit import money
from routeapp.kit.forms import CountField, MoneyField, PercentField

MOST_QUOTES = 6
SUPPOSED = {
    "pieces": 1,
    "weekly_cents": 60_00,
    "walk_away_bp": 200,
    "elsewhere_weeks": 8,
    "damage_cents": 150_00,
    "damage_weeks": 4,
    "horizon_weeks": 104,
    "interest_bp": 800,
}


class CompareForm(forms.Form):
    place = forms.CharField(label="Location that waits", max_length=120, required=False)
    pieces = CountField(label="Cabinets", min_value=1, max_value=50)
    weekly_cents = MoneyField(
        label="Net take of one a week", help_text="What is left of its take after the host's share and the prizes."
    )
    walk_away_bp = PercentField(
        label="Chance each week that the host walks away (%)", help_text="2 % a week: one in five within eleven weeks."
    )
    elsewhere_weeks = CountField(label="Weeks to find another location then", max_value=520)
    damage_cents = MoneyField(label="Cost of one that arrives broken", help_text="What nobody makes good.")
    damage_weeks = CountField(label="Weeks until it works", max_value=52)
    horizon_weeks = CountField(label="Weeks to look ahead", min_value=26, max_value=520)
    interest_bp = PercentField(label="Interest a year (%)", help_text="What money costs you, or earns elsewhere.")
    quotes = forms.MultipleChoiceField(widget=forms.CheckboxSelectMultiple)

    def __init__(self, address: Any, *, offered: Sequence[Quote]) -> None:
        self.offered = {str(quote.pk): quote for quote in offered}
        typed = address.copy()
        for name, value in SUPPOSED.items():
            typed.setdefault(name, _as_typed(name, value))
        if "quotes" not in typed:
            newest = {(quote.supplier_id, quote.model_id): pk for pk, quote in reversed(self.offered.items())}
            typed.setlist("quotes", list(newest.values())[-MOST_QUOTES:])
        super().__init__(typed)
        self.fields["quotes"].choices = [(pk, _named(quote)) for pk, quote in self.offered.items()]

    def clean_quotes(self) -> list[Quote]:
        chosen = self.cleaned_data["quotes"]
        if len(chosen) > MOST_QUOTES:
            raise forms.ValidationError(f"Compare {MOST_QUOTES} at most: take some out.")
        return [self.offered[pk] for pk in chosen]

    def clean_walk_away_bp(self) -> int:
        if self.cleaned_data["walk_away_bp"] > 9_900:
            raise forms.ValidationError("Then nobody waits at all. 99 % is the most that can be reckoned with.")
        return self.cleaned_data["walk_away_bp"]

    def purpose(self) -> Purpose:
        said = self.cleaned_data
        return Purpose(
            cabinets=said["pieces"],
            weekly_cents=said["weekly_cents"],
            walk_away=said["walk_away_bp"] / 10_000,
            elsewhere_weeks=said["elsewhere_weeks"],
            damage_cents=said["damage_cents"],
            damage_weeks=said["damage_weeks"],
            horizon_weeks=said["horizon_weeks"],
            interest=said["interest_bp"] / 10_000,
        )


def _named(quote: Quote) -> str:
    return f"{quote}, {quote.term}, {quote.received_on.day} {quote.received_on:%b %Y}"


def _as_typed(name: str, value: int) -> str:
    if name.endswith("_cents"):
        return money.as_input(value * money.currency(money.active()).one // 100)
    return f"{value / 100:g}" if name.endswith("_bp") else str(value)
