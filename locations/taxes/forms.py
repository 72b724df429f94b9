"""What people type about tax inside the price."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from locations.taxes.models import Jurisdiction
from locations.taxes.rules import ONE, How, Treatment
from locations.taxes.rules_published import PUBLISHED
from routeapp.kit.forms import DayField, NumberField, UsualField, near

BY_KEY = {one.key: one for one in PUBLISHED}


class RuleForm(forms.Form):
    """A rule, typed or chosen from those that were published; what is chosen fills the figure and the source."""

    jurisdiction = forms.CharField(
        label="For which place",
        max_length=80,
        help_text="The state, or the county where that has a surtax of its own.",
        widget=forms.TextInput(attrs={"list": "jurisdictions", "autocomplete": "off"}),
    )
    published = forms.ChoiceField(
        label="A published divisor",
        required=False,
        choices=[("", "None of these: I write the rule below"), *((one.key, one.name) for one in PUBLISHED)],
    )
    treatment = UsualField(label="What a play counts as", choices=Treatment.choices, initial=Treatment.AMUSEMENT)
    how = UsualField(label="How the tax is worked out", choices=How.choices, initial=How.RATE)
    figure = NumberField(
        label="The rate in percent, or the divisor",
        required=False,
        min_value=0,
        max_digits=8,
        decimal_places=4,
    )
    source = forms.CharField(label="Where this is written", max_length=300, required=False)
    valid_from = DayField(label="Holds from")
    valid_to = DayField(label="Holds up to", required=False, help_text="Empty: until another rule starts.")

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def jurisdictions(self) -> list[str]:
        return list(Jurisdiction.objects.values_list("name", flat=True))

    def clean_valid_from(self) -> date | None:
        return near(self.cleaned_data["valid_from"], self.today)

    def clean_valid_to(self) -> date | None:
        return near(self.cleaned_data["valid_to"], self.today)

    def clean(self) -> None:
        if not self.cleaned_data.get("published"):
            for name, words in (("figure", "Write the rate or the divisor."), ("source", "Say where this is written.")):
                if name not in self.errors and self.cleaned_data.get(name) in (None, ""):
                    self.add_error(name, words)

    def said(self) -> dict[str, Any]:
        """What the action takes."""
        said = self.cleaned_data
        kept = {name: said[name] for name in ("jurisdiction", "valid_from", "valid_to")}
        if chosen := BY_KEY.get(said["published"]):
            row = {"treatment": chosen.treatment, "millionths": chosen.millionths, "source": chosen.source}
            return kept | row | {"how": How.DIVISOR}
        how = said["how"]
        millionths = int(said["figure"] * ONE / (Decimal(100) if how == How.RATE else 1))
        return kept | {"treatment": said["treatment"], "how": how, "millionths": millionths, "source": said["source"]}


class SinceForm(forms.Form):
    """Something that holds from a day on."""

    starts_on = DayField(label="From")

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["starts_on"].initial = today

    def clean_starts_on(self) -> date | None:
        return near(self.cleaned_data["starts_on"], self.today)


class LocationTaxForm(SinceForm):
    jurisdiction = forms.ModelChoiceField(
        Jurisdiction.objects.all(),
        label="Whose tax rules hold here",
        required=False,
        empty_label="None: no tax is reckoned",
    )
    field_order = ("jurisdiction", "starts_on")


class CabinetTaxForm(SinceForm):
    treatment = forms.ChoiceField(label="What a play counts as", choices=Treatment.choices)
    field_order = ("treatment", "starts_on")
