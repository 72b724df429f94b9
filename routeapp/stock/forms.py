"""What people type about prizes, mixes, places, deliveries, counts and moves."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import cached_property

from routeapp.kit.forms import CountField, MeasureField, MoneyField, OnceForm, PastField, PersonField
from routeapp.kit.units import LENGTH
from routeapp.stock import queries
from routeapp.stock.actions import LARGEST_LOAD
from routeapp.stock.actions_papers import Delivered
from routeapp.stock.models import OURS, Mix, Place, PlaceKind, Prize
from routeapp.stock.queries_overview import expand, mixes

FIRST_LINES, MOST_LINES = 3, 16  # of one delivery


class PrizeForm(forms.ModelForm):
    size_mm = MeasureField(what=LENGTH, label="Longest side", required=False)

    class Meta:
        model = Prize
        fields = ["name", "supplier", "low_at", "size_mm", "age_grade", "small_parts", "retired", "notes"]
        field_classes = {"low_at": CountField}
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}
        help_texts = {"low_at": "Counts what lies in stores and vans. 0 never says so."}
        error_messages = {"name": {"unique": "There is a prize with this name already."}}


class PlaceForm(forms.Form):
    name = forms.CharField(max_length=80)
    person = PersonField(label="Whose van", required=False, empty_label="Nobody: this is a store")


class NewPlaceForm(PlaceForm):
    kind = forms.ChoiceField(
        label="What is it", choices=[(PlaceKind.STORE, "A store"), (PlaceKind.VAN, "A van")], initial=PlaceKind.STORE
    )
    field_order = ["kind", "name", "person"]


class PaperForm(OnceForm):
    """A paper of the stock room, and when it happened."""

    at = PastField()

    def __init__(self, *args: Any, now: datetime, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].now, self.fields["at"].zone = now, zone


class PiecesForm(forms.Form):
    """Pieces prize by prize. `beside` is what the books say, shown next to each field, by prize id."""

    def __init__(self, *args: Any, prizes: Iterable[Prize], beside: Mapping[int, int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.prizes = {f"prize-{prize.pk}": prize for prize in prizes}
        self.beside = beside
        for name, prize in self.prizes.items():
            self.fields[name] = CountField(label=prize.name, required=False, max_value=LARGEST_LOAD)

    def rows(self) -> list[tuple[forms.BoundField, int | None]]:
        """The fields with what the books say: of prizes that lie here, and those that were filled in."""
        return [row for row in self._all() if self._is_here(row)]

    def other_rows(self) -> list[tuple[forms.BoundField, int | None]]:
        return [row for row in self._all() if not self._is_here(row)]

    def _all(self) -> list[tuple[forms.BoundField, int | None]]:
        return [(self[name], self.beside.get(prize.pk)) for name, prize in self.prizes.items()]

    def _is_here(self, row: tuple[forms.BoundField, int | None]) -> bool:
        field, beside = row
        return bool(beside) or field.value() not in (None, "")

    def lines(self) -> list[tuple[Prize, int]]:
        """(prize, pieces) of every field that was filled in, 0 included."""
        typed = [(prize, self.cleaned_data.get(name)) for name, prize in self.prizes.items()]
        return [(prize, pieces) for prize, pieces in typed if pieces is not None]


class MixForm(PiecesForm):
    name = forms.CharField(max_length=80, help_text="What you call it when you load: “Plush, 40”.")


class StockCountForm(PaperForm, PiecesForm):
    reason = forms.CharField(
        label="Why it differs", max_length=200, required=False, help_text="Damaged, given away, not known …"
    )
    estimated = forms.BooleanField(label="Estimated, not counted", required=False)


class CarryForm(PaperForm, PiecesForm):
    from_place = forms.ModelChoiceField(Place.objects.filter(kind__in=OURS), widget=forms.HiddenInput)
    to_place = forms.ModelChoiceField(queries.carrying_places(), label="To")
    mix = forms.ModelChoiceField(mixes(), label="By mix", required=False, empty_label="No mix")
    times = CountField(label="How many times", required=False, max_value=1000)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        others = [(one.pk, str(one)) for one in queries.carrying_places() if one.pk != self.initial["from_place"]]
        self.fields["to_place"].widget.choices = [("", "Choose where to"), *others]

    def clean(self) -> dict[str, Any]:
        mix, times = self.cleaned_data.get("mix"), self.cleaned_data.get("times")
        if bool(mix) != bool(times):
            self.add_error("times" if mix else "mix", "Say which mix, and how many times.")
        if self.cleaned_data.get("to_place") == self.cleaned_data.get("from_place"):
            self.add_error("to_place", "The prizes are there already.")
        return self.cleaned_data

    def lines(self) -> list[tuple[Prize, int]]:
        """What was chosen prize by prize, and what the mix brings on top."""
        mix: Mix | None = self.cleaned_data["mix"]
        return [*super().lines(), *(expand(mix, self.cleaned_data["times"]) if mix else [])]


class DeliveryForm(PaperForm):
    supplier = forms.CharField(max_length=120, required=False)
    paper = forms.CharField(label="Invoice or delivery note", max_length=80, required=False)
    to_place = forms.ModelChoiceField(queries.carrying_places(), label="Into", empty_label=None)
    field_order = ["supplier", "paper", "to_place", "at"]


class BeginningForm(PaperForm):
    """What was inside a cabinet when it came to us."""

    supplier = forms.CharField(label="From whom it came", max_length=120, required=False)
    field_order = ["at", "supplier"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].label = "Inside since"
        self.fields["at"].help_text = "When it came to you full, or when you begin to write it down here."


class DeliveryLineForm(forms.Form):
    """One line. A formset sets `empty_permitted`, so a line without a word in it is no line."""

    prize = forms.ModelChoiceField(queries.prizes_in_use(), required=False, empty_label="A new prize:")
    new_name = forms.CharField(label="Its name", max_length=80, required=False)
    pieces = CountField(label="Pieces", min_value=1, max_value=LARGEST_LOAD)
    cost_cents = MoneyField(label="Cost in all")

    def clean(self) -> dict[str, Any]:
        prize, name = self.cleaned_data.get("prize"), self.cleaned_data.get("new_name")
        if bool(prize) == bool(name):
            self.add_error("prize", "Choose a prize, or write the name of a new one: one of both.")
        return self.cleaned_data

    def line(self) -> Delivered:
        typed = self.cleaned_data
        return Delivered(typed["prize"] or typed["new_name"], typed["pieces"], typed["cost_cents"])


class DeliveryLines(forms.BaseFormSet):
    """Lines of a delivery; every one may stay empty, also those that a withdrawn delivery filled in."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.extra = MOST_LINES

    def initial_form_count(self) -> int:
        return 0

    def add_fields(self, form: forms.Form, index: int | None) -> None:
        super().add_fields(form, index)
        form.fields["prize"].choices = self.prizes

    @cached_property
    def prizes(self) -> list[Any]:
        """The choices of every line, asked for once."""
        return list(DeliveryLineForm.base_fields["prize"].choices)

    def clean(self) -> None:
        if not any(self.errors) and not self.lines():
            raise ValidationError("Say which prizes came: at least one line.")

    def lines(self) -> list[Delivered]:
        return [form.line() for form in self.forms if form.has_changed()]

    def first_forms(self) -> list[DeliveryLineForm]:
        """The lines in use and a few more; the others are folded away."""
        used = [number for number, form in enumerate(self.forms) if form.initial or form.has_changed()]
        return self.forms[: max([FIRST_LINES, *[number + 2 for number in used]])]

    def later_forms(self) -> list[DeliveryLineForm]:
        return self.forms[len(self.first_forms()) :]


DeliveryLineSet = forms.formset_factory(DeliveryLineForm, DeliveryLines, max_num=MOST_LINES, absolute_max=MOST_LINES)


class MovesFilter(forms.Form):
    prize = forms.ModelChoiceField(Prize.objects.all(), required=False, empty_label="All prizes")
    place = forms.ModelChoiceField(Place.objects.filter(kind__in=OURS), required=False)
    kind = forms.ChoiceField(choices=[("", ""), *PlaceKind.choices], required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["prize"].widget.attrs["aria-label"] = "Prize"

    def chosen(self) -> dict[str, Any]:
        """What to filter by; anything unreadable in the address counts as not chosen."""
        self.is_valid()
        found = self.cleaned_data
        return {"prize": found.get("prize"), "place": found.get("place"), "kind": found.get("kind", "")}
