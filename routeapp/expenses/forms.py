"""What people write about money spent, trips, rates and refunds."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from locations.sites.models import Location
from machines.cabinets.forms import PhotoField
from machines.cabinets.models import Machine
from routeapp.expenses import queries
from routeapp.expenses.models import PAID_FROM, Payer
from routeapp.expenses.rules import Category, Unit
from routeapp.kit import money
from routeapp.kit.forms import DayField, MoneyField, NumberField, OnceForm, PastField, PersonField


class BagField(forms.ModelChoiceField):
    def label_from_instance(self, bag: Any) -> str:
        return f"{bag}, {money.as_text(bag.holds)}"


class PastDayField(DayField):
    """A day that is not still to come; `today` is set by the form."""

    today: date

    def clean(self, value: Any) -> date | None:
        day = super().clean(value)
        if day and day > self.today:
            raise ValidationError("That day is still to come.")
        return day


class WhereForm(OnceForm):
    """Which purse, and which cabinet or location it is about."""

    bag = BagField(queryset=None, required=False, label="Which bag", empty_label="Not out of a bag")
    machine = forms.ModelChoiceField(queryset=None, label="For one cabinet", required=False, empty_label="–")
    location = forms.ModelChoiceField(queryset=None, label="For one location", required=False, empty_label="–")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["bag"].queryset = queries.spendable_bags()
        self.fields["machine"].queryset = Machine.objects.order_by("code")
        self.fields["location"].queryset = Location.objects.order_by("name")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("paid_from") == "bag" and not data.get("bag") and "bag" not in self.errors:
            self.add_error("bag", "Say which bag.")
        return data if data.get("paid_from") == "bag" else {**data, "bag": None}


class ExpenseForm(WhereForm):
    day = PastDayField(label="On which day")
    category = forms.ChoiceField(
        choices=Category.choices,
        help_text="Parts count twice in the profit if their cost stands here and with the spares as well: "
        "write it in one of the two places.",
    )
    what = forms.CharField(label="What was it?", max_length=200)
    cents = MoneyField(label="Amount", least=1)
    paid_from = forms.ChoiceField(label="Paid from", choices=PAID_FROM)
    receipt = PhotoField(label="Photo of the receipt", required=False, help_text="JPEG, PNG or WebP.")

    field_order = ["uuid", "cents", "what", "category", "day", "paid_from", "bag", "machine", "location", "receipt"]

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["day"].today, self.fields["day"].initial = today, today


class DistanceField(NumberField):
    """A distance with one decimal; cleans to whole tenths."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=Decimal("0.1"), max_value=9999, decimal_places=1, **kwargs)

    def clean(self, value: Any) -> int | None:
        distance = super().clean(value)
        return None if distance is None else int(distance * 10)


class TripForm(OnceForm):
    day = PastDayField(label="On which day")
    driver = PersonField(label="Who drove?", empty_label="Choose who drove")
    way = forms.CharField(
        label="From where to where", max_length=500, help_text="All stops, as an auditor would read it."
    )
    purpose = forms.CharField(max_length=200, initial="Visits to cabinets")
    tenths = DistanceField(label="How far, with the way there and back")
    unit = forms.ChoiceField(choices=Unit.choices)
    measured = forms.BooleanField(label="Read off the car, not estimated", required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["day"].today = today


class RateForm(forms.Form):
    valid_from = DayField(label="From")
    valid_to = DayField(label="Up to", required=False, help_text="Empty: until further notice.")
    hundredths = NumberField(
        label="Worth of one mile or kilometre",
        min_value=Decimal("0.0001"),
        max_value=1000,
        decimal_places=4,
        help_text="In whole units of the currency, for example 0.655.",
    )
    unit = forms.ChoiceField(choices=Unit.choices)
    note = forms.CharField(label="Where this is written", max_length=300)

    def clean_hundredths(self) -> int:
        worth = self.cleaned_data["hundredths"] * money.currency(money.active()).one * 100
        if worth != int(worth) or not worth:
            raise ValidationError("That is finer than a hundredth of the smallest coin.")
        return int(worth)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        since, until = data.get("valid_from"), data.get("valid_to")
        if since and until and until < since:
            self.add_error("valid_to", "This day lies before the first one.")
        return data


class RefundForm(WhereForm):
    cents = MoneyField(label="Amount given back", required=False, least=1)
    paid_from = forms.ChoiceField(label="Whose money", choices=Payer.choices)
    at = PastField()
    note = forms.CharField(label="To whom; or why there is no refund", max_length=300, required=False)
    close = forms.BooleanField(label="Nothing is wrong with the cabinet: close the report", required=False)

    field_order = ["uuid", "cents", "paid_from", "bag", "machine", "location", "at", "note", "close"]

    def __init__(
        self, *args: Any, now: datetime, zone: str, fault: Any = None, refuse: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.refuse = refuse
        self.fields["at"].now, self.fields["at"].zone = now, zone
        if fault:
            del self.fields["machine"]
            self.fields["cents"].initial = fault.amount_cents
        else:
            del self.fields["close"]
        if refuse:
            self.fields["paid_from"].required = False

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if self.refuse:
            if not data.get("note"):
                self.add_error("note", "Say why there is no refund.")
            return {**data, "cents": 0, "paid_from": "", "bag": None}
        if not data.get("cents") and "cents" not in self.errors:
            self.add_error("cents", "Say how much the player got back.")
        return data
