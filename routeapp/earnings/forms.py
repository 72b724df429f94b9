"""What people ask of the earnings pages through the address: which days, of which cabinet, in which order."""

from datetime import date
from typing import Any

from django import forms
from django.contrib.auth import get_user_model

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.earnings import rules
from routeapp.earnings.queries_groups import FIRST_GROUPING, GROUPINGS
from routeapp.earnings.queries_report import COLUMNS, FIRST_ORDER
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_profit import Part
from routeapp.kit.forms import DayField


class SpanForm(forms.Form):
    """A named span, or two days. What cannot be read is answered with the usual span and a sentence."""

    range = forms.ChoiceField(choices=[(name, label) for name, (label, _) in rules.NAMED.items()], required=False)
    since = DayField(label="First day", required=False)
    until = DayField(label="Last day", required=False)
    first_choice = "this-month"

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today, self.problem, self.name = today, "", ""
        self.full_clean()
        self.span = self._typed() or self._named()
        if wrong := self.errors.keys() & set(LIMITS.values()):
            self.problem = f"This {min(wrong)} is not known here, so nothing was left out."

    def clean(self) -> None:
        for name in ("since", "until"):
            day = self.cleaned_data.get(name)
            if day and not rules.FIRST_DAY <= day <= date(self.today.year + 1, 12, 31):
                self.add_error(name, "That day is too far away to be meant.")

    def days(self) -> str:
        """The days for an address."""
        return f"since={self.span.since}&until={self.span.until}"

    def _typed(self) -> Span | None:
        since, until = self.cleaned_data.get("since"), self.cleaned_data.get("until")
        if self.errors.keys() & {"since", "until"}:
            self.problem = "Those days could not be read, so this shows the usual ones. Write days like 2026-03-31."
            return None
        if since is None and until is None:
            return None
        span, self.problem = rules.days_between(since or until, until or max(since, self.today))
        return span

    def _named(self) -> Span:
        self.name = self.cleaned_data.get("range") or self.first_choice
        if "range" in self.errors:
            self.problem = "There are no such days to choose, so this shows the usual ones."
        return rules.NAMED[self.name][1](self.today)


class QuarterForm(SpanForm):
    first_choice = "last-quarter"


class YearForm(SpanForm):
    first_choice = "12-months"


class ProfitForm(SpanForm):
    """The days, by what the statement is added up, and the figure of it that was opened."""

    first_choice = "12-weeks"
    by = forms.ChoiceField(choices=[(name, one.label) for name, one in GROUPINGS.items()], required=False)
    part = forms.ChoiceField(choices=[("", "All lines"), *Part.choices], required=False)
    key = forms.CharField(max_length=40, required=False)

    @property
    def grouping(self) -> str:
        return self.cleaned_data.get("by") or FIRST_GROUPING


class PrizesForm(SpanForm):
    """The days, and which cabinet, or all."""

    first_choice = "12-weeks"
    cabinet = forms.ModelChoiceField(Machine.objects.all(), to_field_name="code", required=False)


class TakesForm(SpanForm):
    """The days, and whose service entries: of one location, cabinet or person, or all."""

    location = forms.ModelChoiceField(Location.objects.all(), required=False, empty_label="All locations")
    cabinet = forms.ModelChoiceField(
        Machine.objects.all(), to_field_name="code", required=False, empty_label="All cabinets"
    )
    person = forms.ModelChoiceField(get_user_model().objects.all(), required=False, empty_label="Everybody")

    def only(self) -> dict[str, int]:
        """What the lines are limited to: attribute of a line → its value."""
        chosen = {name: self.cleaned_data.get(field) for name, field in LIMITS.items()}
        return {name: row.pk for name, row in chosen.items() if row is not None}

    def who(self) -> str:
        """Whose service entries these are, in words."""
        chosen = [str(row) for field in LIMITS.values() if (row := self.cleaned_data.get(field))]
        return ", ".join(chosen) or "All cabinets at all locations"


LIMITS = {"location": "location", "machine": "cabinet", "person": "person"}


def order_in(address: Any) -> str:
    """The order asked for in the address, or the usual one."""
    wish = address.get("sort", "")
    return wish if wish.removeprefix("-") in COLUMNS else FIRST_ORDER
