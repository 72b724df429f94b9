"""What people decide about the depreciation of a cabinet."""

from datetime import date
from typing import Any

from django import forms

from machines.depreciation.models import DepreciationChoice
from machines.depreciation.rules import Convention, Method
from machines.depreciation.rules_tables import CLASSES, allowance_on
from routeapp.kit.forms import CountField, DayField, MoneyField, OnceForm, PercentField

LONGEST_LIFE = 40


class ChoiceForm(OnceForm):
    in_service_on = DayField(
        label="Put in service on", years=(1900, 2200), help_text="The day it was ready for use where it stands."
    )
    cost_cents = MoneyField(label="What it cost", required=False, help_text="Left empty, it is the cost of its order.")
    method = forms.ChoiceField(label="Figures here use", choices=Method.choices, initial=Method.STRAIGHT)
    life_years = CountField(label="Years it will serve", min_value=1, max_value=LONGEST_LIFE, initial=5)
    worth_after_cents = MoneyField(label="Worth afterwards", required=False)
    class_years = forms.TypedChoiceField(
        label="Class",
        choices=[("", "To be decided with an accountant"), *((years, f"{years} years") for years in CLASSES)],
        coerce=int,
        empty_value=None,
        required=False,
    )
    convention = forms.ChoiceField(
        choices=Convention.choices,
        initial=Convention.TEST,
        help_text="The test counts all that a business put in service in a year, also what is not written down here.",
    )
    section_179_cents = MoneyField(label="Section 179 amount", required=False)
    bonus_bp = PercentField(label="Bonus in the first year (%)", required=False)
    decided_with = forms.CharField(label="Decided with", max_length=80, required=False, help_text="Name and day.")

    def __init__(self, *args: Any, landed: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if landed:
            self.fields["cost_cents"].help_text = f"Left empty, it is {landed}, the landed cost of its order."

    def said(self) -> dict[str, Any]:
        """What choose_depreciation wants to be told."""
        data = self.cleaned_data
        zero = ("worth_after_cents", "section_179_cents", "bonus_bp")
        return {**data, **{name: data[name] or 0 for name in zero}}


KEPT = [name for name in ChoiceForm.base_fields if name != "uuid"]


def initial(choice: DepreciationChoice | None, in_service: date | None) -> dict[str, Any]:
    """What the form starts from: what was decided last, else the day the cabinet was first ready."""
    if choice is None:
        return {"in_service_on": in_service} if in_service else {}
    return {name: getattr(choice, name) for name in KEPT}


def hint(in_service: date | None) -> str:
    """What was published about the bonus of that day, with its source; no advice."""
    found = allowance_on(in_service) if in_service else None
    if found is None:
        return ""
    return f"{found.bp / 100:g} % is what was published for property acquired from {found.since:%-d %B %Y} on"
