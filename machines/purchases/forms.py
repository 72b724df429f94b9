"""What people type about suppliers and their quotes."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from machines.purchases.actions import Charge, Price
from machines.purchases.models import Customs, Quote, Supplier
from machines.purchases.rules_terms import SEA_ONLY, Basis, Cost, Mode
from routeapp.kit import money
from routeapp.kit.forms import CountField, DayField, MeasureField, MoneyField, NumberField, OnceForm, PercentField
from routeapp.kit.units import VOLUME, WEIGHT

PRICE_LINES, COST_LINES, MOST_LINES = 3, 4, 20
LONGEST_LEAD = 1000
FIGURED_OUT = (Cost.DUTY, Cost.EXTRA_DUTY, Cost.HARBOUR_FEE, Cost.TAX)  # from rates, never typed as amounts


class SupplierForm(forms.ModelForm):
    class Meta:
        model = Supplier
        fields = ["name", "contact", "email", "phone", "promise", "promise_days", "notes"]
        field_classes = {"promise_days": CountField}
        widgets = {"promise": forms.Textarea(attrs={"rows": 3}), "notes": forms.Textarea(attrs={"rows": 3})}
        error_messages = {"name": {"unique": "There is a supplier with this name already."}}


class RateField(NumberField):
    """An exchange rate above zero with up to six decimals."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=Decimal("0.000001"), max_digits=14, decimal_places=6, **kwargs)
        self.error_messages["invalid"] = "Write a rate like 0.14 or 1.0825."


class QuoteForm(forms.ModelForm, OnceForm):
    currency = forms.ChoiceField(choices=money.currency_choices)
    rate = RateField(
        label="Exchange rate",
        required=False,
        help_text="What one of theirs costs in ours. Empty when both are the same.",
    )
    received_on = DayField(label="Dated")
    valid_until = DayField(required=False)
    deposit_bp = PercentField(label="Deposit with the order (%)", required=False)
    duty_bp = PercentField(label="Duty (%)", required=False)
    extra_duty_bp = PercentField(label="Extra duty (%)", required=False)
    tax_bp = PercentField(label="VAT or GST (%)", required=False)
    crate_litres = MeasureField(
        what=VOLUME,
        label="Volume of a crate",
        required=False,
        help_text="Length × width × height; in metres, times 1000; in feet, as it is.",
    )
    crate_kg = MeasureField(what=WEIGHT, label="Weight of a crate", required=False)
    made_days = CountField(label="Days until it is made", max_value=LONGEST_LEAD)
    transit_days = CountField(label="Days on the way", max_value=LONGEST_LEAD)

    class Meta:
        model = Quote
        fields = [
            *("supplier", "reference", "what", "model", "received_on", "valid_until", "currency", "rate"),
            *("term", "place", "mode", "made_days", "transit_days", "deposit_bp"),
            *("crate_litres", "crate_kg", "kg_per_m3"),
            *("customs", "tariff_code", "duty_bp", "extra_duty_bp", "tax_bp", "tax_comes_back", "notes"),
        ]
        field_classes = {"kg_per_m3": CountField}
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}
        help_texts = {
            "model": "Empty for parts.",
            "kg_per_m3": "A term of the carrier: 1000 by sea is usual, others charge by 750, 500 or 363.",
            "tariff_code": "Which code fits is a judgement: ask a broker. Its rates are typed below.",
        }

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["model"].empty_label = "Parts, no cabinets"
        self.fields["supplier"].empty_label = None
        for name in ("term", "mode", "customs"):
            self.fields[name].choices = [("", "Choose"), *self.fields[name].choices[1:]]
        if self.instance.pk:
            foreign = self.instance.currency != money.active()
            self.initial["rate"] = f"{self.instance.rate.normalize():f}" if foreign else None
        else:
            self.initial |= {"received_on": today, "currency": money.active(), "kg_per_m3": 1000, "rate": None}

    def clean_kg_per_m3(self) -> int:
        if not self.cleaned_data["kg_per_m3"]:
            raise ValidationError("A m³ cannot pay as nothing. 1000 is usual by sea.")
        return self.cleaned_data["kg_per_m3"]

    def clean(self) -> dict[str, Any]:
        found = super().clean()
        for name in ("deposit_bp", "duty_bp", "extra_duty_bp", "tax_bp"):
            found[name] = found.get(name) or 0
        foreign = found.get("currency") not in (None, money.active())
        if foreign and found.get("rate") is None and "rate" not in self.errors:
            self.add_error("rate", f"The quote is in {found['currency']}: write what one costs in {money.active()}.")
        if not foreign:
            found["rate"] = Decimal(1)
        if found.get("customs") == Customs.US and money.active() != "USD":
            self.add_error("customs", "The fees of United States customs are in dollars. Choose “another country”.")
        if found.get("term") in SEA_ONLY and found.get("mode") not in (None, Mode.SEA):
            self.add_error("term", f"{found['term']} is a term for the sea. Choose FCA, CPT or CIP for another way.")
        if found.get("valid_until") and found.get("received_on") and found["valid_until"] < found["received_on"]:
            self.add_error("valid_until", "It would have ended before it was written.")
        if found.get("made_days", 1) + found.get("transit_days", 1) == 0:
            self.add_error("transit_days", "Nothing arrives on the day it is ordered: at least one day in all.")
        return found


class PriceForm(forms.Form):
    from_pieces = CountField(label="From how many", min_value=1, max_value=10_000)

    def __init__(self, *args: Any, code: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["unit_cents"] = MoneyField(label="Price of one", least=1, code=code)

    def line(self) -> Price:
        return Price(**self.cleaned_data)


class CostForm(forms.Form):
    kind = forms.ChoiceField(
        label="What for", choices=[("", "Nothing"), *[one for one in Cost.choices if one[0] not in FIGURED_OUT]]
    )
    basis = forms.ChoiceField(label="By", choices=Basis.choices, initial=Basis.EACH)
    amount = forms.CharField(max_length=30, widget=MoneyField.widget)
    ours = forms.BooleanField(label="in our own currency", required=False)

    def __init__(self, *args: Any, code: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.code = code

    def has_changed(self) -> bool:
        """A basis and a currency alone are no line."""
        return bool({"kind", "amount"} & set(self.changed_data))

    def clean(self) -> dict[str, Any]:
        found = self.cleaned_data
        if found.get("amount"):
            ours = money.active() if found.get("ours") else self.code
            share = found.get("basis") == Basis.SHARE
            reads = PercentField() if share else MoneyField(code=ours)
            try:
                found["amount"] = reads.clean(found["amount"])
            except ValidationError as problem:
                self.add_error("amount", problem)
        return found

    def line(self) -> Charge:
        return Charge(**self.cleaned_data)


class Lines(forms.BaseFormSet):
    """Lines of a quote, those in use and empty ones up to the most there may be."""

    def __init__(self, *args: Any, shown: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.extra, self.shown = MOST_LINES, shown

    def initial_form_count(self) -> int:
        return 0

    def lines(self) -> list[Any]:
        return [form.line() for form in self.forms if form.has_changed()]

    def first_forms(self) -> list[Any]:
        used = [number for number, form in enumerate(self.forms) if form.initial or form.has_changed()]
        return self.forms[: max([self.shown, *[number + 2 for number in used]])]

    def later_forms(self) -> list[Any]:
        return self.forms[len(self.first_forms()) :]


PriceSet = forms.formset_factory(PriceForm, Lines, max_num=MOST_LINES, absolute_max=MOST_LINES)
CostSet = forms.formset_factory(CostForm, Lines, max_num=MOST_LINES, absolute_max=MOST_LINES)


class QuotePaper:
    """A quote as typed: what it says, its prices and its costs, checked together."""

    def __init__(self, *, today: date, quote: Quote | None = None, **sent: Any) -> None:
        self.head = QuoteForm(**sent, today=today, instance=quote)
        data = sent.get("data")
        code = data.get("currency") if data else quote.currency if quote else money.active()
        known = {one for one, _ in money.currency_choices()}
        options = {"form_kwargs": {"code": code if code in known else money.active()}}
        # What is shown first counts as typed only when it comes back, so an emptied line is no line.
        prices, costs = (_prices(quote), _costs(quote)) if quote and not data else ([], [])
        self.prices = PriceSet(data=data, prefix="price", initial=prices, shown=PRICE_LINES, **options)
        self.costs = CostSet(data=data, prefix="cost", initial=costs, shown=COST_LINES, **options)

    @property
    def is_bound(self) -> bool:
        return self.head.is_bound

    @property
    def fields(self) -> dict[str, Any]:
        return self.head.fields

    def add_error(self, field: str | None, problem: Any) -> None:
        self.head.add_error(field, problem)

    def is_valid(self) -> bool:
        return all([self.head.is_valid(), self.prices.is_valid(), self.costs.is_valid()])

    def said(self) -> dict[str, Any]:
        """What the actions take."""
        return {**self.head.cleaned_data, "prices": self.prices.lines(), "charges": self.costs.lines()}


def _prices(quote: Quote) -> list[dict[str, Any]]:
    return [{"from_pieces": one.from_pieces, "unit_cents": one.unit_cents} for one in quote.prices.all()]


def _costs(quote: Quote) -> list[dict[str, Any]]:
    return [
        {"kind": one.kind, "basis": one.basis, "ours": one.ours, "amount": _typed(one)} for one in quote.costs.all()
    ]


def _typed(cost: Any) -> str:
    if cost.share_bp is not None:
        return f"{cost.share_bp / 100:g}"
    return money.as_input(cost.amount_cents, money.active() if cost.ours else cost.quote.currency)
