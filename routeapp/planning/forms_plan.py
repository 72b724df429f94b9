"""What people say when they ask for a plan, change a round, or drop one."""

from collections.abc import Collection
from datetime import date, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from locations.sites.models import Location
from routeapp.kit.forms import CountField, DayField, MoneyField, OnceForm, PicksField
from routeapp.planning import queries_crew
from routeapp.planning.actions_plan import MOST_DAYS

THINKING = [(1, "1 second: a first look"), (10, "10 seconds"), (30, "30 seconds"), (60, "a minute")]
MOST_VARY = 1_000_00
FAR = timedelta(days=31)


class PlanForm(OnceForm):
    drivers = PicksField(queryset=queries_crew.drivers(), label="Who drives")
    first_day = DayField(label="From")
    days = CountField(label="For how many days", min_value=1, max_value=MOST_DAYS)
    vary_cents = MoneyField(
        label="May cost to vary days and hours",
        required=False,
        help_text="A round that comes at the same hour can be waited for. 0: the cheapest plan as it is.",
    )
    seconds = forms.TypedChoiceField(label="May think for", choices=THINKING, coerce=int)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["drivers"].queryset = queries_crew.drivers()

    def clean_first_day(self) -> date:
        day: date = self.cleaned_data["first_day"]
        if not self.today <= day <= self.today + FAR:
            raise ValidationError("Choose a day from today on, within a month.")
        return day

    def clean_vary_cents(self) -> int:
        cents = self.cleaned_data["vary_cents"] or 0
        if cents > MOST_VARY:
            raise ValidationError("That is more than varying is worth.")
        return cents


class ChangeForm(forms.Form):
    """A place to add to a round. The stops it has are read as they stand on the page."""

    add = forms.ModelChoiceField(
        Location.objects.filter(closed_on=None, placements__ended_at=None).distinct(),
        label="Add a stop",
        required=False,
    )

    def __init__(self, *args: Any, there: Collection[int], **kwargs: Any) -> None:
        """Places that are `there` already are not offered; one that was sent twice is no mistake."""
        super().__init__(*args, **kwargs)
        add = self.fields["add"]
        others = [(one.pk, str(one)) for one in add.queryset if one.pk not in there]
        add.widget.choices = [("", "Choose a location"), *others]


class SkipForm(OnceForm):
    reason = forms.CharField(max_length=200, label="Why not", help_text="Closed, no parking, no time left …")


class TickForm(forms.Form):
    """One line of the load list, as its own small form sends it."""

    uuid = forms.UUIDField()
    line = forms.CharField(max_length=60)
    on = forms.BooleanField(required=False)
    pieces = forms.IntegerField(min_value=0, max_value=100_000, required=False)
    from_place = forms.IntegerField(min_value=1, max_value=2**62, required=False)
