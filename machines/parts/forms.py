"""What people write down about parts, shelves and keys."""

from typing import Any

from django import forms

from machines.cabinets.models import GONE, CabinetModel, Machine
from machines.faults.models import Fault
from machines.labels.forms import CabinetsField
from machines.parts.models import Held, Part, PartPlaceKind
from machines.parts.queries import fitting, shelves
from routeapp.kit.choices import TextChoices
from routeapp.kit.forms import CountField, MoneyField, OnceForm, PersonField, PicksField


class PartForm(forms.ModelForm):
    fits = PicksField(CabinetModel.objects.all(), required=False, help_text="None ticked: it fits all.")
    low_at = CountField(label="Order more when fewer than this are left", max_value=9999, initial=1)

    class Meta:
        model = Part
        fields = ["name", "number", "fits", "low_at", "notes"]
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}


class Happened(TextChoices):
    CAME = "came", "They came from the supplier"
    USED = "used", "They were put into a cabinet"
    CARRIED = "carried", "They were carried to another place"
    FOUND = "found", "More were counted than the books say"
    LOST = "lost", "Fewer were counted than the books say"


OUTSIDE = {
    Happened.CAME: PartPlaceKind.SUPPLIER,
    Happened.USED: PartPlaceKind.CABINETS,
    Happened.FOUND: PartPlaceKind.LOST,
    Happened.LOST: PartPlaceKind.LOST,
}
INTO = (Happened.CAME, Happened.FOUND)


class PieceForm(OnceForm):
    pieces = CountField(label="How many", min_value=1, max_value=99_999, initial=1)


class MovePartForm(PieceForm):
    happened = forms.ChoiceField(label="What happened", choices=Happened.choices)
    place = forms.ModelChoiceField(shelves(), label="On which shelf or van", empty_label=None)
    to_place = forms.ModelChoiceField(shelves(), label="Carried to", required=False, empty_label="Nowhere")
    machine = forms.ModelChoiceField(
        Machine.objects.exclude(status__in=GONE), label="Into which cabinet", required=False, empty_label="None"
    )
    cost_cents = MoneyField(
        label="What they cost together",
        required=False,
        help_text=(
            "If they came: their use then counts in the profit."
            " Leave empty where a receipt under Expenses has it: both would count."
        ),
    )
    note = forms.CharField(max_length=200, required=False)

    field_order = ["happened", "pieces", "cost_cents", "place", "to_place", "machine", "note"]

    def clean(self) -> None:
        happened, target = self.cleaned_data.get("happened"), self.cleaned_data.get("to_place")
        if happened == Happened.CARRIED and not target:
            self.add_error("to_place", "Say where they were carried to.")

    def said(self) -> dict[str, Any]:
        """What move_part wants to be told."""
        data, happened = self.cleaned_data, Happened(self.cleaned_data["happened"])
        into = happened in INTO
        return {
            **{name: data[name] for name in ("uuid", "pieces", "cost_cents", "note")},
            "from_place": None if into else data["place"],
            "to_place": data["place"] if into else data["to_place"] if happened == Happened.CARRIED else None,
            "outside": OUTSIDE.get(happened, ""),
            "machine": data["machine"] if happened == Happened.USED else None,
        }


class UsePartForm(PieceForm):
    """A part used on a fault: only what fits the cabinet is offered."""

    part = forms.ModelChoiceField(Part.objects.none(), empty_label="Choose a part")
    from_place = forms.ModelChoiceField(shelves(), label="It was taken from", empty_label=None)

    field_order = ["part", "pieces", "from_place"]

    def __init__(self, *args: Any, fault: Fault, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["part"].queryset = fitting(fault.machine.model)
        self.fields["part"].label_from_instance = lambda part: f"{part} ({part.on_hand} left)"


class ShelfForm(forms.Form):
    name = forms.CharField(label="Name of the shelf or van", max_length=60)


class LockForm(forms.Form):
    name = forms.CharField(label="What it locks", max_length=60, help_text="For example: cash box.")
    number = forms.CharField(
        label="Number on the key", max_length=40, required=False, help_text="With it, more can be ordered."
    )
    machines = CabinetsField(Machine.objects.exclude(status__in=GONE).select_related("model"), label="It opens")


class CopiesForm(OnceForm):
    copies = CountField(label="How many more", min_value=1, max_value=50, initial=1)
    held = forms.ChoiceField(
        label="They are",
        choices=[(Held.SAFE, "here, with the spare keys"), (Held.ORDERED, "ordered")],
    )


class HandOverForm(OnceForm):
    held = forms.ChoiceField(label="It is now", choices=Held.choices)
    person = PersonField(label="Who has it", required=False, empty_label="Nobody")
    note = forms.CharField(max_length=120, required=False)
