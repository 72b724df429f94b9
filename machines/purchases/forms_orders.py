"""What people type about an order: placing it, its steps, money, papers and what came."""

from datetime import date, datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from machines.cabinets.models import CabinetModel
from machines.papers.forms import PaperField
from machines.purchases.models import Order, OrderCost, Supplier
from machines.purchases.rules_steps import Step
from routeapp.kit.forms import CountField, DayField, MoneyField, OnceForm, PastField

MOST_PIECES = 100


class OrderForm(OnceForm):
    pieces = CountField(label="How many", min_value=1, max_value=MOST_PIECES)
    ordered_on = DayField(label="Ordered on")
    number = forms.CharField(label="Our number", max_length=20, required=False, help_text="Empty: the next one.")
    notes = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), max_length=4000, required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["ordered_on"].initial = today

    def clean_ordered_on(self) -> date:
        if self.cleaned_data["ordered_on"] > self.today:
            raise ValidationError("That day is still to come. Write the order down once it is sent.")
        return self.cleaned_data["ordered_on"]


class MomentForm(forms.Form):
    at = PastField()

    def __init__(self, *args: Any, now: datetime, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].now, self.fields["at"].zone = now, zone
        self.order_fields([*[name for name in self.fields if name != "at"], "at"])


class UnorderedForm(MomentForm, OnceForm):
    supplier = forms.ModelChoiceField(Supplier.objects.all(), label="From whom", empty_label=None)
    what = forms.CharField(label="What came", max_length=120)
    model = forms.ModelChoiceField(
        CabinetModel.objects.all(), label="Cabinets of the model", required=False, empty_label="Parts, no cabinets"
    )
    pieces = CountField(label="How many", min_value=1, max_value=MOST_PIECES)
    number = forms.CharField(label="Our number", max_length=20, required=False, help_text="Empty: the next one.")
    notes = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), max_length=4000, required=False)


class StepForm(MomentForm):
    step = forms.ChoiceField(label="What was reached", choices=Step.choices)
    expected_on = DayField(
        label="Expected at the door", required=False, help_text="If the carrier or the supplier named a day."
    )
    container = forms.CharField(label="Container number", max_length=20, required=False)
    note = forms.CharField(label="Ship, train, carrier, number", max_length=200, required=False)

    def __init__(self, *args: Any, order: Order, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        reached = {one.step for one in order.steps}
        self.fields["step"].initial = next((step for step in Step.values if step not in reached), Step.DELIVERED)


class PaymentForm(MomentForm, OnceForm):
    note = forms.CharField(label="What for", max_length=120, required=False, help_text="Deposit, balance …")

    def __init__(self, *args: Any, code: str, ours: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["invoice_cents"] = MoneyField(label=f"Amount on their invoice ({code})", least=1, code=code)
        self.foreign = code != ours
        if self.foreign:
            self.fields["cents"] = MoneyField(label=f"Taken from our account ({ours})", least=1)
        self.order_fields(["invoice_cents", "cents", "note", "at"])

    def said(self) -> dict[str, Any]:
        return {"cents": self.cleaned_data["invoice_cents"], **self.cleaned_data}


class CostPaidForm(forms.Form):
    kind = forms.ChoiceField(label="What for", choices=OrderCost._meta.get_field("kind").choices)
    cents = MoneyField(label="What it came to in all")
    note = forms.CharField(label="Invoice", max_length=120, required=False)


class OrderPaperForm(OnceForm):
    name = forms.CharField(label="What it is", max_length=120, help_text="Invoice, packing list, transport document …")
    file = PaperField(label="File", help_text="PDF, JPEG, PNG or WebP.")

    def said(self) -> dict[str, Any]:
        content, suffix, _ = self.cleaned_data["file"]
        return {
            "uuid": self.cleaned_data["uuid"],
            "name": self.cleaned_data["name"],
            "content": content,
            "suffix": suffix,
        }


class ReceiptForm(MomentForm):
    came = CountField(label="How many came", max_value=MOST_PIECES)
    damaged = CountField(label="How many of them damaged", max_value=MOST_PIECES, initial=0)

    def clean(self) -> dict[str, Any]:
        found = self.cleaned_data
        if found.get("damaged", 0) > found.get("came", MOST_PIECES):
            self.add_error("damaged", "More than came. Count again.")
        return found
