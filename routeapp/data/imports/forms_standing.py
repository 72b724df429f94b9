"""What people write down about a cabinet that stands somewhere already."""

from typing import Any

from django import forms

from locations.agreements.models import Term, TermKind
from machines.cabinets.models import CabinetModel, Kind
from machines.cabinets.queries import newest_cabinet, next_code
from machines.cabinets.rules_entry import LONGEST_CODE, clean_code
from routeapp.data.imports import queries
from routeapp.kit.forms import CountField, MoneyField, PercentField

OFFERED = {"list": "names", "autocomplete": "off"}


class StandingForm(forms.Form):
    """Each list offers the names that are here; another name is a new one."""

    code = forms.CharField(max_length=LONGEST_CODE, help_text="What you call it.")
    location = forms.CharField(
        label="Where it stands", max_length=120, widget=forms.TextInput(attrs={**OFFERED, "list": "locations"})
    )
    host = forms.CharField(
        label="Its host", max_length=120, required=False, help_text="Left empty, the host is called like the location."
    )
    share = PercentField(
        label="The host's share of the take (%)",
        required=False,
        help_text="Settled every month and paid in cash, until you write down other terms at the location.",
    )
    plays = CountField(label="Its plays meter shows", max_value=999_999_999, required=False)
    model = forms.CharField(max_length=80, widget=forms.TextInput(attrs={**OFFERED, "list": "models"}))
    kind = forms.ChoiceField(choices=Kind.choices)
    price = MoneyField(label="Price per play", least=1)

    @classmethod
    def like_the_last(cls) -> dict[str, Any]:
        """The next cabinet is probably like the one before."""
        last, term = newest_cabinet(), Term.objects.filter(kind=TermKind.SHARE, above_cents=0).order_by("pk").last()
        told = {"code": next_code(), "share": f"{term.rate_bp / 100:g}" if term else ""}
        return {**told, "model": last.model.name, "kind": last.model.kind, "price": last.price_cents} if last else told

    def models(self) -> list[str]:
        return list(CabinetModel.objects.values_list("name", flat=True))

    def locations(self) -> list[str]:
        return queries.location_names()

    def clean_code(self) -> str:
        try:
            return clean_code(self.cleaned_data["code"])
        except ValueError as problem:
            raise forms.ValidationError(str(problem)) from None

    def said(self) -> dict[str, Any]:
        """By meaning, as a row of a spreadsheet says it, and the meter."""
        values = {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
        plays = values.pop("plays", None)
        return {"values": values, "plays": plays}
