"""What a person says about a statement: which row holds the headings, what each column means, in which time zone."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from routeapp.kit.clock import zone_choices
from routeapp.kit.forms import OnceForm
from routeapp.kit.reading.cells import DAY_FIRST, MONTH_FIRST, text
from routeapp.kit.reading.headings import Vocabulary
from routeapp.kit.reading.sheet import Unreadable, letter
from routeapp.kit.reading.statement import DAY, UNKNOWN, Look, Said, order_of

MOST_TITLES = 30  # rows offered as the heading
MB = 1024 * 1024


def file_field(label: str, help_text: str) -> forms.FileField:
    return forms.FileField(
        label=label,
        max_length=200,
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx,.xlsm"}),
        help_text=help_text,
        error_messages={"empty": "This file is empty."},
    )


class FileForm(OnceForm):
    """A file to look at, under an id made with the form. `largest` is in MB; `advice` is for a larger one."""

    largest, advice = 10, ""

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > self.largest * MB:
            size = f"{file.size / MB:.0f} MB; {self.largest} MB are taken"
            raise ValidationError(f"This file has {size}. Nothing was kept. {self.advice}")
        return file


class ColumnsForm(forms.Form):
    """`remembered` is what was said about the last statement with the same headings: columns, zone, order.

    Each column is a field c0, c1 …; a subclass says what else it needs in `check(meanings)`.
    """

    heading = forms.TypedChoiceField(label="The headings stand in", coerce=int)
    zone = forms.ChoiceField(
        label="The times are in the time zone", choices=zone_choices, help_text="Times with an offset keep their own."
    )
    order = forms.ChoiceField(
        label="In dates like 03/04 the first number is",
        choices=[("", "told by the file"), (DAY_FIRST, "the day"), (MONTH_FIRST, "the month")],
        required=False,
    )

    def __init__(
        self, *args: Any, look: Look, vocabulary: Vocabulary, remembered: Mapping[str, Any], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.look, self.vocabulary = look, vocabulary
        rows = look.top[:MOST_TITLES]
        self.fields["heading"].choices = [(row, f"Row {row}: {sampled(cells)}") for row, cells in rows]
        asked = str(self.data.get("heading") or remembered.get("heading") or look.heading)
        self.row = {str(row): row for row, _ in rows}.get(asked, look.heading)
        columns = remembered.get("columns") or {str(at): key for at, key in self._guess().items()}
        for name in ("zone", "order", "heading"):
            self.fields[name].initial = {**remembered, "heading": self.row}.get(name)
        self.columns = [self._add_column(at, cell, columns.get(str(at), "")) for at, cell in self._cells()]

    def _guess(self) -> dict[int, str]:
        return self.vocabulary.guess(self.look.above(self.row))

    def _cells(self) -> list[tuple[int, Any]]:
        """Columns with something in them, by their heading."""
        above = self.look.above(self.row)
        width = max((len(cells) for _, cells in self.look.top), default=0)
        cells = [(at, above[at] if at < len(above) else None) for at in range(width)]
        return [(at, cell) for at, cell in cells if sample(cell) or self.look.samples(self.row, at)]

    def _add_column(self, at: int, cell: Any, meaning: str) -> tuple[str, list[str]]:
        label = f"{letter(at)}: {sample(cell) or 'no heading'}"
        self.fields[f"c{at}"] = forms.ChoiceField(
            label=label, choices=self.vocabulary.choices, required=False, initial=meaning
        )
        return f"c{at}", [sample(one) for one in self.look.samples(self.row, at)]

    def bound_columns(self) -> list[tuple[forms.BoundField, list[str]]]:
        return [(self[name], samples) for name, samples in self.columns]

    def meanings(self) -> dict[int, str]:
        said = {int(name[1:]): self.cleaned_data.get(name) for name, _ in self.columns}
        return {at: key for at, key in said.items() if key}

    def clean(self) -> dict[str, Any]:
        data, meanings = super().clean() or self.cleaned_data, list(self.meanings().values())
        if self.errors:
            return data
        twice = [self.vocabulary.meanings[key].label for key in set(meanings) if meanings.count(key) > 1]
        if twice:
            raise ValidationError(f"Two columns mean “{min(twice)}”. Leave one of them out.")
        if DAY not in meanings:
            raise ValidationError("Say which column holds the day.")
        self.check(set(meanings))
        if not data["order"]:
            data["order"] = self._order()
        if data["order"] == UNKNOWN:
            self.add_error("order", "The dates can be read in two ways. Say whether the day or the month stands first.")
        return data

    def _order(self) -> str:
        try:
            return order_of(self.look.sheet, self.said())
        except Unreadable as problem:
            raise ValidationError(str(problem)) from None

    def check(self, meanings: set[str]) -> None:
        """Raise ValidationError where a column is missing."""

    def said(self) -> Said:
        data = self.cleaned_data
        return Said(self.row, self.meanings(), data["zone"], data.get("order") or "")

    def kept(self) -> dict[str, Any]:
        """What was said, to be written down and remembered."""
        said = self.said()
        columns = {str(at): key for at, key in said.columns.items()}
        return {"heading": said.heading, "columns": columns, "zone": said.zone, "order": said.order}


def from_kept(kept: Mapping[str, Any]) -> Said:
    columns = {int(at): key for at, key in kept["columns"].items()}
    return Said(kept["heading"], columns, kept["zone"], kept.get("order", ""))


def sample(cell: Any) -> str:
    """A cell as the page shows it beside its column."""
    try:
        return text(cell)[:60]
    except ValueError:
        return str(cell)[:60]


def sampled(cells: list[Any]) -> str:
    """The first cells of a row, to tell it from others."""
    return ", ".join(said for cell in cells if (said := sample(cell)))[:80]
