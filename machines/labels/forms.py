"""The sheet to print labels on, and what a stranger may report from one."""

from typing import Any

from django import forms

from machines.faults.forms import ReportForm
from machines.faults.models import About
from machines.labels import queries, rules_sheet
from machines.labels.rules_sheet import Sheet
from routeapp.kit.forms import PicksField

LENGTHS = {
    "top": "Top margin",
    "bottom": "Bottom margin",
    "left": "Left margin",
    "right": "Right margin",
    "gap_across": "Gap between columns",
    "gap_down": "Gap between rows",
}


class MillimetreField(forms.DecimalField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=200, decimal_places=2, initial=0, **kwargs)
        self.widget.attrs["inputmode"] = "decimal"


class CabinetsField(PicksField):
    def label_from_instance(self, machine: Any) -> str:
        return f"{machine.code} {machine.model.name}"


class SheetForm(forms.Form):
    """Lengths in millimetres, as they stand on the packet of the label sheets."""

    cabinets = CabinetsField(queryset=None, required=False)
    everything = forms.BooleanField(label="All of them", required=False)
    page = forms.ChoiceField(label="Paper", choices=[("a4", "A4"), ("letter", "Letter")])
    columns = forms.IntegerField(min_value=1, max_value=10, initial=2)
    rows = forms.IntegerField(min_value=1, max_value=20, initial=6)
    start = forms.IntegerField(
        label="First free label",
        min_value=1,
        initial=1,
        help_text="Counted from the upper left, along the rows: a sheet already begun can be used up.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["cabinets"].queryset = queries.printable_cabinets()
        self.fields |= {name: MillimetreField(label=label) for name, label in LENGTHS.items()}
        for name in ("columns", "rows", "start"):
            self.fields[name].widget.attrs["inputmode"] = "numeric"

    def clean(self) -> None:
        data = self.cleaned_data
        if "cabinets" in data and not (data["everything"] or data["cabinets"]):
            self.add_error("cabinets", "Tick the cabinets that want a label.")
        if self.errors:
            return
        if data["start"] > data["rows"] * data["columns"]:
            self.add_error("start", f"This sheet has only {data['rows'] * data['columns']} labels.")
        try:
            rules_sheet.layout(self.sheet(), queries.modules_on_a_side())
        except rules_sheet.TooSmall as problem:
            self.add_error(None, str(problem))

    def sheet(self) -> Sheet:
        data = self.cleaned_data
        lengths = {name: float(data[name]) for name in LENGTHS}
        return Sheet(data["page"], rows=data["rows"], columns=data["columns"], **lengths)

    def machines(self) -> list[Any]:
        chosen = self.fields["cabinets"].queryset if self.cleaned_data["everything"] else self.cleaned_data["cabinets"]
        return list(chosen)

    def remembered(self) -> dict[str, Any]:
        """What the next sheet probably shares with this one."""
        return {name: str(self.cleaned_data[name]) for name in ("page", "columns", "rows", *LENGTHS)}


class PublicReportForm(ReportForm):
    about = forms.ChoiceField(
        label="What is it about?", choices=About.choices, initial=About.FAULT, widget=forms.RadioSelect
    )
    # People do not see this field; programs that fill in every field give themselves away.
    website = forms.CharField(required=False, max_length=200)

    stops_play = forms.BooleanField(label="Nobody can play on it now", required=False)

    field_order = ["uuid", "about", "text", "stops_play", "amount_cents", "contact"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["text"].label = "What happened?"
        self.fields["contact"].label = "Phone or e-mail, if you want an answer"
        self.fields["website"].widget.attrs |= {"tabindex": "-1", "autocomplete": "off"}
