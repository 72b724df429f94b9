"""Counting money: by coin and note, by weight, or only the sum. Used for bags and on the visit page."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from routeapp.cash import rules
from routeapp.cash.models import How
from routeapp.kit import money
from routeapp.kit.forms import CountField, MoneyField

HEAVIEST_GRAMS = 100_000


class GramsField(forms.DecimalField):
    """Grams as a scale shows them; takes a decimal comma."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "amount", "autocomplete": "off"})

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class CountForm(forms.Form):
    """Fields `c25` and `n500` are pieces of a coin or note, `w25` the grams of a coin's pile, `sum` a bare sum."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.denominations = rules.denominations(money.active())
        for one in self.denominations:
            name = money.as_text(one.cents)
            self.fields[one.key] = CountField(label=f"{name} {'coins' if one.coin else 'notes'}", required=False)
            self.fields[one.key].widget.attrs.update({"data-cents": one.cents, "data-step": "1"})
            if one.grams is not None:
                grams = GramsField(
                    label=f"{name} coins in grams", required=False, min_value=0, max_value=HEAVIEST_GRAMS
                )
                grams.widget.attrs.update({"data-cents": one.cents, "data-grams": str(one.grams)})
                self.fields[f"w{one.cents}"] = grams
        self.fields["sum"] = MoneyField(label="or only the sum", required=False)
        self.fields["sum"].widget.attrs["data-sum"] = ""

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("sum") is not None and (self._pieces() or self._weighed()):
            raise ValidationError("Give either the pieces or only the sum, so that it is clear which one counts.")
        return said

    def _pieces(self) -> dict[str, int]:
        return {one.key: self.cleaned_data[one.key] for one in self.denominations if self.cleaned_data.get(one.key)}

    def _weighed(self) -> dict[str, int]:
        found = {}
        for one in self.denominations:
            grams = self.cleaned_data.get(f"w{one.cents}") if one.coin else None
            if grams:
                found[one.key] = rules.by_weight(grams, one).pieces
        return found

    def is_filled(self) -> bool:
        """Whether anything was counted; a typed zero counts too."""
        return any(value is not None for value in self.cleaned_data.values())

    def result(self) -> tuple[How, int, dict[str, int]]:
        """How it was counted, the sum in minor units, and pieces by denomination key."""
        said = self.cleaned_data
        if said["sum"] is not None:
            return How.AMOUNT, said["sum"], {}
        pieces, weighed = self._pieces(), self._weighed()
        lines = {key: pieces.get(key, 0) + weighed.get(key, 0) for key in {**pieces, **weighed}}
        lines = {key: count for key, count in lines.items() if count}
        return How.WEIGHT if weighed else How.DENOMINATIONS, rules.total(lines, money.active()), lines

    def usual_fields(self) -> list[Any]:
        return [self[one.key] for one in self.denominations if one.usual]

    def other_fields(self) -> list[Any]:
        return [self[one.key] for one in self.denominations if not one.usual]

    def weight_fields(self) -> list[Any]:
        return [self[name] for name in self.fields if name.startswith("w")]
