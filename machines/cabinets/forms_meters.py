"""What people type about meters. An odd last reading is asked about, never turned away."""

from typing import Any

from django import forms

from machines.cabinets.actions_meter_changes import Closing, NewMeter
from machines.cabinets.forms import MomentForm
from machines.cabinets.models import Counts, Meter
from machines.cabinets.queries_meters import question_about
from machines.cabinets.rules import Explanation
from routeapp.kit.forms import CountField, MoneyField


class NewMeterForm(forms.Form):
    """One meter: how many digits it has, what it shows, and what a count is worth when it counts money."""

    digits = CountField(min_value=3, max_value=9, initial=6, help_text="How many numbers it shows, leading zeros too.")
    opening = CountField(label="It shows now", initial=0)
    value_cents = MoneyField(
        label="Money per count",
        least=1,
        help_text="What one step of it stands for: 0.25 if each quarter moves it by one.",
    )
    counts_tests = forms.BooleanField(label="Free test plays move it too", required=False, initial=True)

    def __init__(self, *args: Any, counts: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.counts = Counts(counts)
        if self.counts != Counts.MONEY_IN:
            del self.fields["value_cents"]

    def new_meter(self) -> NewMeter:
        data = self.cleaned_data
        value_cents = data.get("value_cents", 0)
        return NewMeter(self.counts, data["digits"], data["opening"], value_cents, data["counts_tests"])


class TickedMeterForm(NewMeterForm):
    """A meter that the cabinet may have: what stands in it matters only when it is ticked."""

    fitted = forms.BooleanField(required=False)
    field_order = ["fitted"]
    use_required_attribute = False  # a browser cannot ask for a field it does not show

    def __init__(self, *args: Any, counts: str, **kwargs: Any) -> None:
        super().__init__(*args, counts=counts, prefix=counts, **kwargs)
        self.fields["fitted"].label = f"It has a meter for {self.counts.label.lower()}"

    def clean(self) -> None:
        if not self.cleaned_data["fitted"]:
            self.errors.clear()


class ClosingForm(MomentForm):
    """Ends what a meter counted so far: its last value, and an answer when that value looks odd."""

    closing = CountField(label="It showed last", required=False)
    explained_as = forms.ChoiceField(
        label="What happened?",
        choices=[("", "Choose"), *[choice for choice in Explanation.choices if choice[0]]],
        required=False,
        widget=forms.HiddenInput,
    )
    reason = forms.CharField(label="In your words", max_length=300, required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, meter: Meter | None, **kwargs: Any) -> None:
        super().__init__(*args, newest=meter.last_at if meter else None, **kwargs)
        self.meter = meter
        if meter is None:
            del self.fields["closing"]
        elif meter.last_at:
            self.fields["closing"].help_text = f"{meter.last_value:,} at the last reading."

    def clean(self) -> None:
        value, at = self.cleaned_data.get("closing"), self.cleaned_data.get("at")
        if self.meter is None or value is None or at is None:
            return
        if question := question_about(self.meter, value, at):
            self._ask(question)

    def _ask(self, question: str) -> None:
        answer = self.fields["explained_as"]
        answer.widget, answer.required = forms.Select(choices=answer.choices), True
        self.fields["reason"].widget = forms.TextInput()
        if not self.cleaned_data.get("explained_as"):
            self.add_error("explained_as", f"{question} Look at it again. If it is right, say what happened.")

    def last(self) -> Closing | None:
        data = self.cleaned_data
        if data.get("closing") is None:
            return None
        return Closing(data["closing"], data["explained_as"], data["reason"])


class ReplaceForm(ClosingForm):
    """The other half, the new meter, is a NewMeterForm beside it."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["closing"].label = "The old meter showed last"
        self.fields["closing"].help_text += " Leave empty if it cannot be read."


class ResetForm(ClosingForm):
    opening = CountField(label="It shows after being set back", initial=0)

    field_order = ["closing", "explained_as", "reason", "opening", "at"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["closing"].label = "It showed before"
        self.fields["closing"].help_text += " Leave empty if nobody looked."


class PriceForm(ClosingForm):
    """Asks for the plays meter only where the cabinet has one."""

    price_cents = MoneyField(label="New price per play", least=1)

    field_order = ["price_cents", "closing", "explained_as", "reason", "at"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.meter:
            self.fields["closing"].label = "The plays meter shows"
            self.fields["closing"].required = True
