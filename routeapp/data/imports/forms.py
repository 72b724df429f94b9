"""What people say about a file: the file itself, what its columns mean, and what only they can tell."""

from dataclasses import replace
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from routeapp.data.imports import queries
from routeapp.data.imports.queries import Looked
from routeapp.data.imports.rules_lines import MEASURED
from routeapp.data.imports.rules_meanings import EACH, MEANINGS, choices, guess
from routeapp.kit.forms import MoneyField
from routeapp.kit.reading.cells import DAY_FIRST, MONTH_FIRST
from routeapp.kit.reading.forms import FileForm, file_field, sample, sampled
from routeapp.kit.reading.sheet import letter

MOST_TITLES = 30  # rows offered as the heading


class SpreadsheetForm(FileForm):
    file = file_field(
        "Your spreadsheet",
        "A workbook (.xlsx) or a text file (.csv). Nothing is written until you have seen what comes of it.",
    )
    largest, advice = 60, "Leave out pictures and sheets that are not needed, or divide it."


class SheetForm(forms.Form):
    """One sheet: whether to take it, which row is its heading, and a meaning for each column."""

    take = forms.BooleanField(label="Take this sheet", required=False)
    heading = forms.TypedChoiceField(label="The headings stand in", coerce=int)

    def __init__(self, *args: Any, looked: Looked, number: int, heading: str = "", **kwargs: Any) -> None:
        super().__init__(*args, prefix=f"s{number}", **kwargs)
        self.looked = looked
        rows = looked.top[:MOST_TITLES]
        self.fields["heading"].choices = [(row, f"Row {row}: {sampled(cells)}") for row, cells in rows]
        asked = self.data.get(f"s{number}-heading", heading) or str(looked.plan.heading)
        numbers = {str(row): row for row, _ in rows}
        self.row = numbers.get(asked, looked.plan.heading)
        plan = looked.plan
        if self.row != plan.heading:
            plan = replace(plan, heading=self.row, columns=guess(looked.headings(self.row), queries.known_codes()))
        self.initial = {"take": looked.take, "heading": self.row}
        self.columns = [self._add_column(at, cell, plan.columns.get(at, "")) for at, cell in self._cells()]

    def _cells(self) -> list[tuple[int, Any]]:
        """Columns with something in them, by their heading."""
        above = self.looked.headings(self.row)
        width = max((len(cells) for _, cells in self.looked.top), default=0)
        cells = [(at, above[at] if at < len(above) else None) for at in range(width)]
        return [(at, cell) for at, cell in cells if sample(cell) or self.looked.samples(self.row, at)]

    def _add_column(self, at: int, cell: Any, meaning: str) -> dict[str, Any]:
        name = f"c{at}"
        label = f"{letter(at)}: {sample(cell) or 'no heading'}"
        self.fields[name] = forms.ChoiceField(label=label, choices=choices, required=False, initial=meaning)
        return {"field": name, "samples": [sample(one) for one in self.looked.samples(self.row, at)]}

    def bound_columns(self) -> list[tuple[forms.BoundField, list[str]]]:
        return [(self[one["field"]], one["samples"]) for one in self.columns]

    def clean(self) -> dict[str, Any]:
        found = super().clean()
        meanings = list(self.meanings().values())
        if not found.get("take") or self.errors:
            return found
        if not meanings:
            raise ValidationError("Say of at least one column what it means, or leave the sheet out.")
        twice = [MEANINGS[key].label for key in set(meanings) if meanings.count(key) > 1 and not key.startswith(EACH)]
        if twice:
            raise ValidationError(f"Two columns mean “{min(twice)}”. Leave one of them out.")
        each = any(key.startswith(EACH) for key in meanings)
        if (each or set(meanings) & {*MEASURED}) and "visited_on" not in meanings:
            raise ValidationError("Money and readings need the day of the visit: say which column holds it.")
        if "visited_on" in meanings and not (each or {"code", "prize"} & set(meanings)):
            raise ValidationError("A visit needs its cabinet: say which column holds the code.")
        return found

    def meanings(self) -> dict[int, str]:
        said = {int(one["field"][1:]): self.cleaned_data.get(one["field"]) for one in self.columns}
        return {at: key for at, key in said.items() if key}

    def kept(self) -> dict[str, Any]:
        columns = {str(at): key for at, key in self.meanings().items()}
        return {"name": self.looked.sheet.name, "heading": self.row, "columns": columns}


class DefaultsForm(forms.Form):
    """What rows do not say themselves."""

    model = forms.CharField(
        label="Model of cabinets without one", max_length=80, required=False, help_text="For new cabinets only."
    )
    price_cents = MoneyField(
        label="Price per play of models without one", least=1, required=False, help_text="For new models only."
    )
    count_cents = MoneyField(
        label="Money for one count of a money meter",
        least=1,
        required=False,
        help_text="Only if the file has readings of money meters: 0.25 if each quarter moves them by one.",
    )
    banked = forms.BooleanField(
        label="The money of past visits is at the bank",
        required=False,
        help_text="Without this it counts as money still in bags, to be taken to the bank.",
    )


class AnswerForm(forms.Form):
    """Questions that a check left open, and whether wrong rows are left out."""

    def __init__(self, *args: Any, questions: dict[str, Any], wrong: int = 0, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.joins = questions.get("joins", [])
        if order := questions.get("order"):
            self._ask_order(order)
        for number, names in enumerate(self.joins):
            self.fields[f"join{number}"] = forms.ChoiceField(
                label=" / ".join(names),
                widget=forms.RadioSelect,
                choices=[("one", f"One location: {names[0]}"), ("apart", "Different locations")],
            )
        if wrong:
            rows = "row" if wrong == 1 else "rows"
            self.fields["without_wrong"] = forms.BooleanField(label=f"Leave out the {wrong:,} wrong {rows}")

    def _ask_order(self, order: dict[str, Any]) -> None:
        told = order["shown"]
        said = [f"row {one['row']} of {one['sheet']} says {one['cell']}" for one in told.values()]
        self.fields["order"] = forms.ChoiceField(
            label=f"What is {order['example']}?",
            widget=forms.RadioSelect,
            choices=[
                (DAY_FIRST, f"{order[DAY_FIRST]} (the day stands first)"),
                (MONTH_FIRST, f"{order[MONTH_FIRST]} (the month stands first)"),
            ],
            initial=next(iter(told)) if len(told) == 1 else None,
            help_text=f"To help you: {' and '.join(said)}." if said else "",
        )

    def answers(self, plan: dict[str, Any]) -> dict[str, Any]:
        """The plan with what was answered."""
        joins = dict(plan.get("joins", {}))
        for number, names in enumerate(self.joins):
            one = self.cleaned_data[f"join{number}"] == "one"
            joins |= {name: names[0] if one else name for name in names[1:]}
        order = self.cleaned_data.get("order", plan.get("order", ""))
        return {**plan, "joins": joins, "order": order, "without_wrong": self.cleaned_data.get("without_wrong", False)}
