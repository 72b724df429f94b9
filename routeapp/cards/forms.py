"""What people say about readers and about a processor's statement."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from machines.cabinets.models import Machine
from routeapp.cards.rules import AMOUNTS, Kind
from routeapp.kit.forms import OnceForm, PastField
from routeapp.kit.reading.forms import ColumnsForm, FileForm, file_field


class CabinetField(forms.ModelChoiceField):
    def label_from_instance(self, machine: Any) -> str:
        return f"{machine.code} {machine.model.name}"


def cabinets() -> Any:
    return Machine.objects.select_related("model").order_by("code")


class ReaderForm(OnceForm):
    serial = forms.CharField(
        label="Serial number",
        max_length=40,
        help_text="As it stands on the reader and in the statements. Spaces and leading zeros make no difference.",
    )
    machine = CabinetField(label="In which cabinet", queryset=None, required=False, empty_label="In none: taken out")
    at = PastField(label="Since when")
    note = forms.CharField(label="Remarks", max_length=200, required=False)

    def __init__(self, *args: Any, now: datetime, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["machine"].queryset = cabinets()
        self.fields["at"].now, self.fields["at"].zone = now, zone


class MatchForm(forms.Form):
    machine = CabinetField(label="Which cabinet was it?", queryset=None, empty_label="Choose a cabinet")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["machine"].queryset = cabinets()


class StatementFileForm(FileForm):
    file = file_field("The statement", "A text file (.csv) or a workbook (.xlsx), as the processor gives it.")
    largest, advice = 39, "Ask the processor for fewer days at a time."


class StatementForm(ColumnsForm):
    def check(self, meanings: set[str]) -> None:
        if not meanings & set(AMOUNTS):
            raise ValidationError("Say which column holds an amount.")
        if "amount" in meanings and not meanings & {"serial", "kind"}:
            raise ValidationError("A sale needs its cabinet: say which column holds the serial number of the reader.")


class KindsForm(forms.Form):
    """What the words in the column for the kind of row mean."""

    def __init__(self, *args: Any, kinds: list[tuple[str, int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.words = [word for word, _, _ in kinds]
        for number, (word, many, kind) in enumerate(kinds):
            self.fields[f"k{number}"] = forms.ChoiceField(
                label=f"{word[:60]} ({many:,} row{'' if many == 1 else 's'})",
                choices=[("", "Say what it is"), *Kind.choices],
                initial=kind,
            )

    def kinds(self) -> Mapping[str, str]:
        return {word: self.cleaned_data[f"k{number}"] for number, word in enumerate(self.words)}
