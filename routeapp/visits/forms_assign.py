"""What people write down when a cabinet comes to a location or leaves it."""

from collections.abc import Iterable
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import dateformat
from django.utils.html import format_html_join

from locations.placements import queries as placements
from locations.sites.models import Location
from machines.cabinets.forms import MomentForm
from machines.cabinets.models import Machine, Meter, Status
from machines.cabinets.queries_meters import meters_in_use, question_about
from machines.cabinets.rules import Explanation
from routeapp.kit.forms import CountField, OnceForm
from routeapp.stock import queries as stock
from routeapp.stock.actions import LARGEST_LOAD
from routeapp.stock.models import Place, Prize
from routeapp.visits.actions_assign import MeterShown


class ChooseForm(forms.Form):
    """Which cabinet goes where. Offers what is free; what the address names is looked up even when it is not."""

    cabinet = forms.CharField(max_length=16, widget=forms.Select)
    location = forms.ModelChoiceField(Location.objects.all())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        free = {one.code: f"{one} · {one.model} · {one.get_status_display()}" for one in placements.free_cabinets()}
        named = (self.data or self.initial).get("cabinet", "")
        cabinets = {"": "Choose a cabinet", **({named: named} if named else {}), **free}
        self.fields["cabinet"].widget.choices = list(cabinets.items())
        locations = Location.objects.filter(closed_on=None).values_list("pk", "name")
        self.fields["location"].widget.choices = [("", "Choose a location"), *locations]

    def clean_cabinet(self) -> Machine:
        machine = Machine.objects.select_related("model").filter(code__iexact=self.cleaned_data["cabinet"]).first()
        if machine is None:
            raise ValidationError("There is no cabinet with that code.")
        return machine

    def is_free(self) -> bool:
        """Whether nothing is in the way; otherwise says what, before anybody fills in the rest."""
        machine, location = self.cleaned_data["cabinet"], self.cleaned_data["location"]
        if text := placements.hindrance_now(machine):
            self.add_error("cabinet", text)
        if location.closed_on:
            self.add_error("location", f"{location} is closed.")
        return not self.errors


class StayForm(MomentForm):
    """One end of a stay: the moment, what each meter shows, and the prizes found inside."""

    def __init__(self, *args: Any, machine: Machine, location: Location, **kwargs: Any) -> None:
        super().__init__(*args, zone=location.time_zone, **kwargs)
        self.meters: list[Meter] = list(meters_in_use([machine.pk]))
        self.inside: list[tuple[Prize, int]] = stock.inside([machine.pk]).get(machine.pk, [])
        for meter in self.meters:
            self.fields[f"meter{meter.pk}"] = _meter_field(meter, location)
        for prize, pieces in self.inside:
            self.fields[f"found{prize.pk}"] = CountField(
                label=prize.name, required=False, max_value=LARGEST_LOAD, help_text=f"{pieces:,} by the books"
            )

    def meter_fields(self) -> list[forms.BoundField]:
        return [self[f"meter{meter.pk}"] for meter in self.meters]

    def found_fields(self) -> list[forms.BoundField]:
        return [self[f"found{prize.pk}"] for prize, _ in self.inside]

    def readings(self) -> list[MeterShown]:
        values = [(meter, self.cleaned_data[f"meter{meter.pk}"]) for meter in self.meters]
        return [MeterShown(meter, value) for meter, value in values if value is not None]

    def found(self) -> dict[Prize, int]:
        return self._typed("found", [prize for prize, _ in self.inside])

    def _typed(self, name: str, prizes: Iterable[Prize]) -> dict[Prize, int]:
        typed = {prize: self.cleaned_data.get(f"{name}{prize.pk}") for prize in prizes}
        return {prize: pieces for prize, pieces in typed.items() if pieces is not None}


def _meter_field(meter: Meter, location: Location) -> CountField:
    last = "never read before"
    if meter.last_at:
        read_at = dateformat.format(meter.last_at.astimezone(ZoneInfo(location.time_zone)), "j M Y")
        last = f"{meter.last_value:,} on {read_at}"
    too_long = f"This meter has {meter.digits} digits; it cannot show that."
    return CountField(
        label=str(meter), help_text=last, max_value=10**meter.digits - 1, error_messages={"max_value": too_long}
    )


def _carrying(person: Any) -> list[Place]:
    """Stores and vans, the person's own van first."""
    return sorted(stock.carrying_places(), key=lambda place: place.person_id != person.pk)


class AssignForm(StayForm, OnceForm):
    spot = forms.CharField(
        label="Where exactly", max_length=120, required=False, help_text="For example: left of the door."
    )
    from_place = forms.ModelChoiceField(
        stock.carrying_places(), label="Prizes come from", required=False, empty_label=None
    )

    def __init__(self, *args: Any, person: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.places, self.prizes = _carrying(person), list(stock.prizes_in_use())
        held = stock.contents([place.pk for place in self.places])
        self.fields["from_place"].initial = self.places[0].pk if self.places else None
        for prize in self.prizes if self.places else ():
            lie = [(f"{held[place.pk][prize.pk]:,}", place) for place in self.places if held[place.pk].get(prize.pk)]
            where = format_html_join(", ", "{} in {}", lie) or "none in stock by the books"
            self.fields[f"load{prize.pk}"] = CountField(
                label=prize.name, required=False, max_value=LARGEST_LOAD, help_text=where
            )

    def load_fields(self) -> list[forms.BoundField]:
        return [self[f"load{prize.pk}"] for prize in self.prizes] if self.places else []

    def loaded(self) -> dict[Prize, int]:
        return {prize: pieces for prize, pieces in self._typed("load", self.prizes).items() if pieces}

    def clean(self) -> None:
        if "from_place" not in self.errors and self.loaded() and not self.cleaned_data.get("from_place"):
            self.add_error("from_place", "Say where the prizes were taken from.")


NEXT = (Status.SPARE, Status.BENCH, Status.OUT_OF_ORDER, Status.SOLD, Status.SCRAPPED)


class WithdrawForm(forms.Form):
    reason = forms.CharField(label="What was wrong with it?", max_length=300)


class EndForm(StayForm):
    because = forms.CharField(label="Why it leaves", max_length=200, required=False)
    next_status = forms.ChoiceField(
        label="From then on it is", choices=[(status.value, status.label) for status in NEXT], initial=Status.SPARE
    )
    to_place = forms.ModelChoiceField(
        stock.carrying_places(), label="Prizes go to", required=False, empty_label="They stay in the cabinet"
    )

    def __init__(self, *args: Any, person: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        places = _carrying(person)
        self.fields["to_place"].initial = places[0].pk if places else None
        for meter in self.meters:
            self.fields[f"meter{meter.pk}"].required = False
            self.fields[f"explained{meter.pk}"] = forms.ChoiceField(
                label="What happened?", choices=_ANSWERS, required=False, widget=forms.HiddenInput
            )
            self.fields[f"reason{meter.pk}"] = forms.CharField(
                label="In your words", max_length=300, required=False, widget=forms.HiddenInput
            )

    def meter_rows(self) -> list[list[forms.BoundField]]:
        return [[self[f"{name}{meter.pk}"] for name in ("meter", "explained", "reason")] for meter in self.meters]

    def clean(self) -> None:
        at = self.cleaned_data.get("at")
        for meter in self.meters if at else ():
            value = self.cleaned_data.get(f"meter{meter.pk}")
            if value is not None and (question := question_about(meter, value, at)):
                self._ask(meter, question)

    def _ask(self, meter: Meter, question: str) -> None:
        answer, reason = self.fields[f"explained{meter.pk}"], self.fields[f"reason{meter.pk}"]
        answer.widget, reason.widget = forms.Select(choices=answer.choices), forms.TextInput()
        if not self.cleaned_data.get(f"explained{meter.pk}"):
            text = f"{question} Look at it again. If it is right, say what happened."
            self.add_error(f"explained{meter.pk}", text)

    def readings(self) -> list[MeterShown]:
        data = self.cleaned_data
        return [
            MeterShown(shown.meter, shown.value, data[f"explained{shown.meter.pk}"], data[f"reason{shown.meter.pk}"])
            for shown in super().readings()
        ]


_ANSWERS = [("", "Choose"), *[choice for choice in Explanation.choices if choice[0]]]
