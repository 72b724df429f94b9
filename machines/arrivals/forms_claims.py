"""What is written down when something is claimed, and afterwards."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django import forms

from machines.arrivals.actions_claims import Asked
from machines.arrivals.models import Addressee, Arrival, Claim, Finding, Step, Wish
from machines.arrivals.rules_clocks import Regime
from routeapp.kit.clock import local_day
from routeapp.kit.forms import CountField, DayField, MoneyField, OnceForm, PastField


class ClaimForm(OnceForm):
    addressee = forms.ChoiceField(label="Put to", choices=Addressee.choices)
    name = forms.CharField(label="Their name", max_length=120)
    regime = forms.ChoiceField(
        label="Which rules hold",
        choices=Regime.choices,
        help_text="The transport document or their terms say so; in doubt ask a lawyer.",
    )
    promise_days = CountField(
        label="Days to tell them, by their promise", max_value=3650, required=False, help_text="Only for a promise."
    )
    delivered_on = DayField(label="Delivered on")
    note = forms.CharField(label="In your words", max_length=2000, required=False, widget=forms.Textarea)

    def __init__(self, *args: Any, arrival: Arrival, findings: Iterable[Finding], zone: str, **kwargs: Any) -> None:
        super().__init__(*args, initial=_initial(arrival, zone), **kwargs)
        self.findings = list(findings)
        for one in self.findings:
            self.fields[f"take{one.pk}"] = forms.BooleanField(
                label=f"{one}, {one.get_state_display().lower()}", required=False, initial=not one.in_claim
            )
            self.fields[f"cents{one.pk}"] = MoneyField(label="Amount", required=False)
            self.fields[f"wish{one.pk}"] = forms.ChoiceField(label="Asked for", choices=Wish.choices, required=False)

    def rows(self) -> list[tuple[forms.BoundField, ...]]:
        return [tuple(self[f"{name}{one.pk}"] for name in ("take", "cents", "wish")) for one in self.findings]

    def clean(self) -> None:
        data = self.cleaned_data
        for one in self.findings:
            if data.get(f"take{one.pk}") and data.get(f"cents{one.pk}") is None and f"cents{one.pk}" not in self.errors:
                self.add_error(f"cents{one.pk}", "Say what it is worth; 0 if it costs nothing.")

    def said(self) -> dict[str, Any]:
        data = self.cleaned_data
        taken = [one for one in self.findings if data[f"take{one.pk}"]]
        items = [Asked(one, data[f"cents{one.pk}"], data[f"wish{one.pk}"] or Wish.PART) for one in taken]
        names = ("uuid", "addressee", "name", "regime", "promise_days", "delivered_on", "note")
        return {"items": items, **{name: data[name] for name in names}}


def _initial(arrival: Arrival, zone: str) -> dict[str, Any]:
    """The supplier by its promise when it made one; otherwise by the way the order was carried."""
    supplier = arrival.order.supplier
    by_way = {"sea": Regime.HAGUE, "air": Regime.AIR, "road": Regime.CARMACK}
    promised = supplier.promise_days is not None
    return {
        "addressee": Addressee.SUPPLIER,
        "name": supplier.name,
        "regime": Regime.PROMISE if promised else by_way.get(arrival.order.mode, Regime.HAGUE),
        "promise_days": supplier.promise_days,
        "delivered_on": local_day(arrival.at, zone),
    }


class StepForm(OnceForm):
    step = forms.ChoiceField(label="What happened", choices=Step.choices)
    item = forms.ModelChoiceField(None, label="Which replacement", required=False, empty_label="None")
    cents = MoneyField(label="Amount paid", required=False)
    text = forms.CharField(label="In words", max_length=1000, required=False, widget=forms.Textarea(attrs={"rows": 3}))
    at = PastField()

    def __init__(self, *args: Any, claim: Claim, now: datetime, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].now, self.fields["at"].zone = now, zone
        self.fields["item"].queryset = claim.items.filter(wish=Wish.PART).select_related("finding__machine")
