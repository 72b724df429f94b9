"""The visit page's form about the stop itself."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError

from routeapp.kit import clock
from routeapp.kit.forms import MomentField, MoneyField
from routeapp.visits import rules
from routeapp.visits.queries_sheet import Sheet


class StopForm(forms.Form):
    """When, out of which stock, what the host was paid."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    asked = forms.BooleanField(required=False, widget=forms.HiddenInput)
    left_at = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)  # set by the page on sending
    arrived_at = MomentField(label="Arrived")
    load_from = forms.TypedChoiceField(label="Prizes come out of", coerce=int, empty_value=None, required=False)
    host_cents = MoneyField(label="Cash given to the host", required=False)
    host_received_by = forms.CharField(label="Received by", max_length=120, required=False)
    note = forms.CharField(
        label="Note about this stop", max_length=4000, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    reason = forms.CharField(label="Why is it corrected?", max_length=300, required=False)

    def __init__(self, *args: Any, sheet: Sheet, now: datetime, correcting: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.location, self.now = sheet.location, now
        self.fields["arrived_at"].zone = sheet.location.time_zone
        self.fields["load_from"].choices = [(place.pk, place.name) for place in sheet.places]
        self.fields["reason"].required = correcting
        if not correcting:
            del self.fields["reason"]
        self.amended: datetime | None = self.initial["arrived_at"] if correcting else None

    def clean_arrived_at(self) -> datetime:
        """A moment that a correction leaves as it was shown keeps its seconds, and which of two equal hours it was."""
        typed, shown = self.cleaned_data["arrived_at"], self.fields["arrived_at"].prepare_value
        if self.amended and shown(self.amended).replace(second=0, microsecond=0) == shown(typed):
            typed = self.amended
        if typed > self.now + rules.CLOCK_MAY_DIFFER:
            raise ValidationError("That moment is still to come. Look at the day and the hour again.")
        return typed

    def clean_left_at(self) -> datetime | None:
        try:
            moment = datetime.fromisoformat(self.cleaned_data["left_at"])
        except ValueError:
            return None
        return moment if moment.tzinfo else None

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("host_cents") and not said.get("host_received_by"):
            self.add_error("host_received_by", "Write who took the money; it stands on the receipt.")
        return said

    def parts(self, bag: UUID) -> dict[str, Any]:
        """What this form adds to the document; loose cash goes into the bag with the id `bag`."""
        said = self.cleaned_data
        left = rules.left(said["arrived_at"], said["left_at"])
        day = clock.local_day(said["arrived_at"], self.location.time_zone)
        paid = {"cents": said["host_cents"], "received_by": said["host_received_by"]} if said["host_cents"] else None
        return {
            "id": str(said["id"]),
            "location": self.location.pk,
            "arrived_at": said["arrived_at"].isoformat(),
            "departed_at": left.isoformat(),
            "load_from": said["load_from"],
            "loose_bag": {"id": str(bag), "number": f"{day:%y%m%d}-{str(bag)[:4].upper()}"},
            "host_payment": paid,
            "note": said["note"],
            "reason": said.get("reason", ""),
        }
