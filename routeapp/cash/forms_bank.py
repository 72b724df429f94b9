"""What people say about a bank statement: the file, its columns, and what a row is."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from routeapp.cash import rules_statement
from routeapp.cash.actions_bank import BOOKABLE
from routeapp.cash.models_bank import BankRow
from routeapp.cash.queries_bank import Event
from routeapp.cash.rules_statement import Found, Way, way_word
from routeapp.kit import money
from routeapp.kit.forms import OnceForm
from routeapp.kit.reading.forms import ColumnsForm, FileForm, file_field, sample
from routeapp.kit.reading.sheet import Sheet, Unreadable
from routeapp.kit.reading.statement import Said, below, order_of

MOST_WORDS = 12  # in a column that says only in or out


class StatementForm(FileForm):
    file = file_field("The bank's file", "A text file (.csv) or a workbook (.xlsx) from the bank's own pages.")
    largest, advice = 10, "Bring a shorter time at once."


class StatementColumnsForm(ColumnsForm):
    """Where a column says in words which way each row went, each of its words is a field."""

    data: Any
    account = forms.CharField(
        label="Which account is this?", max_length=80, help_text="As you call it among yourselves."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.first = kwargs["remembered"]
        self.fields["zone"].widget = forms.HiddenInput()
        self.fields["account"].initial = self.first.get("account", "")
        said = {int(name[1:]): self[name].value() for name, _ in self.columns}
        self.meant = {at: key for at, key in said.items() if key in self.vocabulary.meanings}
        found = self._words()
        self.is_wordy = len(found) > MOST_WORDS
        self.words = [] if self.is_wordy else found
        for word in self.words:
            self._add_word(word)

    def _add_word(self, word: str) -> None:
        name, means = _named_by(word), self.first.get("ways", {}).get(word) or rules_statement.WAY_OF.get(word, "")
        choices = [("", "Say which way"), *Way.choices]
        self.fields[name] = forms.ChoiceField(label=f"“{word}” means", choices=choices, initial=means)
        if self.is_bound and name not in self.data:  # its column was chosen just now
            self.data = dict(self.data.items()) | {name: means}

    def _guess(self) -> dict[int, str]:
        return rules_statement.guess(self.look.above(self.row), [cells for at, cells in self.look.top if at > self.row])

    def _words(self) -> list[str]:
        """What the column for in or out says: all of it when it is sent, or when a word was asked for that its first
        rows do not say; otherwise what those say."""
        at = next((at for at, key in self.meant.items() if key == "way"), None)
        if at is None:
            return []
        words = self._said_by(self._top(), at)
        asked = {name for name in self.data if name.startswith("w")}
        if not self.is_bound or ("look" in self.data and asked <= {_named_by(word) for word in words}):
            return words
        return self._said_by(self.look.sheet, at)

    def _said_by(self, sheet: Sheet, at: int) -> list[str]:
        """The words in a column; no more than shows that they are too many."""
        found: set[str] = set()
        with suppress(Unreadable):  # told when its rows are taken
            for _, cells in below(sheet, self.row):
                with suppress(ValueError):  # and so is a spreadsheet's error
                    found |= {way_word(sample(cells[at])) if at < len(cells) else ""} - {""}
                if len(found) > MOST_WORDS:
                    break
        return sorted(found)

    def _top(self) -> Sheet:
        return replace(self.look.sheet, rows=lambda: iter(self.look.top))

    def bound_words(self) -> list[forms.BoundField]:
        return [self[_named_by(word)] for word in self.words]

    def _ways(self) -> dict[str, str]:
        return {word: self[_named_by(word)].value() or "" for word in self.words}

    def check(self, meanings: set[str]) -> None:
        if not meanings & {"amount", "money_in", "money_out"}:
            raise ValidationError("Say which column holds the amount, or which two hold money in and money out.")
        if meanings & {"amount", "way"} and meanings & {"money_in", "money_out"}:
            raise ValidationError("Either one column holds the amount, or two hold money in and out. Leave one out.")
        if self.is_wordy:
            raise ValidationError("The column that says in or out says too many different things. Choose another.")

    def kept(self) -> dict[str, Any]:
        return super().kept() | {"ways": self._ways()}

    def as_read(self) -> Found | None:
        """What the first rows say by what stands in the form now; None where that does not do."""
        try:
            self.check(set(self.meant.values()))
        except ValidationError:
            return None
        order = self["order"].value() or order_of(self._top(), Said(self.row, self.meant, "", ""))
        said = Said(self.row, self.meant, self.first["zone"], order)
        return rules_statement.rows_of(self._top(), said, self._ways())


def _named_by(word: str) -> str:
    return f"w{word.encode().hex()}"


class MatchForm(OnceForm):
    events = forms.MultipleChoiceField(
        label="What is it in the books?",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose what it is."},
    )
    rows = forms.MultipleChoiceField(
        label="Other rows of the bank that belong to it", widget=forms.CheckboxSelectMultiple, required=False
    )
    reason = forms.CharField(
        label="If the bank found another sum: what is known about it", max_length=150, required=False
    )

    def __init__(self, *args: Any, known: Sequence[Event], others: Sequence[BankRow], **kwargs: Any) -> None:
        super().__init__(*args, auto_id="match_%s", **kwargs)
        self.fields["events"].choices = [(one.key, _named(one.cents, one.day, one.what)) for one in known]
        self.fields["rows"].choices = [(str(one.pk), _named(one.cents, one.day, one.text)) for one in others]
        if not others:
            del self.fields["rows"]


def _named(cents: int, day: Any, words: str) -> str:
    return f"{money.as_text(cents)}, {day.day} {day:%b %Y}: {words[:80]}"


class BookForm(OnceForm):
    other = forms.ChoiceField(label="What is it?", choices=[(one.value, one.label) for one in BOOKABLE])
    reason = forms.CharField(label="In a few words", max_length=150, help_text="For example “monthly charge”.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="book_%s", **kwargs)


class AsideForm(OnceForm):
    reason = forms.CharField(label="Why it is none of the business's", max_length=150)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="aside_%s", **kwargs)
