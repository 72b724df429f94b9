"""Counting money: by coin and note, by weight, or only the sum. Used for bags and on the visit page."""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from routeapp.cash import rules
from routeapp.cash.models import Bag, Holder, How
from routeapp.kit import money
from routeapp.kit.forms import CountField, DayField, MoneyField, OnceForm, PastField, PersonField
from routeapp.kit.people import active_people

HEAVIEST_GRAMS = 100_000
USUAL_DAYS = 90


class GramsField(forms.DecimalField):
    """Grams as a scale shows them: 5670, 5,670 or 5670,5. Three decimals are more likely kilograms, and refused."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "amount", "autocomplete": "off"})
    default_error_messages = {"max_decimal_places": "Write grams, not kilograms, with at most two decimals."}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=HEAVIEST_GRAMS, max_digits=8, decimal_places=2, **kwargs)

    def to_python(self, value: Any) -> Decimal | None:
        text = re.sub(r",(?=\d{3}\b)", "", str(value or "")).replace(",", ".")
        return super().to_python(text)


class CountForm(forms.Form):
    """Fields `c25` and `n500` are pieces of a coin or note, `w25` the grams of a coin's pile, `sum` a bare sum."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.denominations = rules.denominations(money.active())
        for one in self.denominations:
            name = money.as_text(one.cents)
            self.fields[one.key] = CountField(label=f"{name} {'coins' if one.coin else 'notes'}", required=False)
            self.fields[one.key].widget.attrs.update({"data-cents": one.cents, "data-step": "1"})
            self.fields[one.key].steps = True
            if one.grams is not None:
                grams = GramsField(label=f"{name} coins in grams", required=False)
                grams.widget.attrs.update({"data-cents": one.cents, "data-grams": str(one.grams)})
                self.fields[f"w{one.cents}"] = grams
        self.fields["sum"] = MoneyField(label="or only the sum" if self.denominations else "The sum", required=False)
        self.fields["sum"].widget.attrs["data-sum"] = ""

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if self._sum() is not None and (self._pieces() or self._weighed()):
            raise ValidationError("Give either the pieces or only the sum, so that it is clear which one counts.")
        return said

    def _sum(self) -> int | None:
        return self.cleaned_data.get("sum")

    def _pieces(self) -> dict[str, int]:
        return {one.key: self.cleaned_data[one.key] for one in self.denominations if self.cleaned_data.get(one.key)}

    def _weighed(self) -> dict[str, rules.Weighed]:
        grams = {one: self.cleaned_data.get(f"w{one.cents}") for one in self.denominations if one.coin}
        return {one.key: rules.by_weight(weight, one) for one, weight in grams.items() if weight}

    def scale(self) -> list[str]:
        """What the scale came to, coin by coin in words: how many, and how far it was from exactly that many."""
        names = {one.key: money.as_text(one.cents) for one in self.denominations}
        return [f"{found.pieces:,} × {names[key]}, {found.words()}" for key, found in self._weighed().items()]

    def is_filled(self) -> bool:
        """Whether anything was counted; a typed zero counts too."""
        return any(self.cleaned_data.get(name) is not None for name in self.fields if name not in self.base_fields)

    def result(self) -> tuple[How, int, dict[str, int]]:
        """How it was counted, the sum in minor units, and pieces by denomination key."""
        if (cents := self._sum()) is not None:
            return How.AMOUNT, cents, {}
        pieces, weighed = self._pieces(), self._weighed()
        lines = Counter(pieces) + Counter({key: found.pieces for key, found in weighed.items()})
        return How.WEIGHT if weighed else How.DENOMINATIONS, rules.total(lines, money.active()), dict(lines)

    def usual_fields(self) -> list[Any]:
        return [self[one.key] for one in self.denominations if one.usual]

    def other_fields(self) -> list[Any]:
        return [self[one.key] for one in self.denominations if not one.usual]

    def weight_fields(self) -> list[Any]:
        return [self[name] for name in self.fields if name.startswith("w")]

    def has_other(self) -> bool:
        return _is_used(self.other_fields())

    def has_weight(self) -> bool:
        return _is_used(self.weight_fields())


def _is_used(fields: list[forms.BoundField]) -> bool:
    """Whether something stands in one of these fields, so that they must not be folded away."""
    return any(field.value() not in (None, "") for field in fields)


class BagCountForm(OnceForm, CountForm):
    """The hidden id makes the same count sent twice one count. `others` counted this bag for themselves."""

    blind = forms.BooleanField(
        label="Somebody else counts it too",
        required=False,
        help_text="Neither of you sees the other's figure. It is kept once you both found the same.",
    )
    second = PersonField(label="Counted together with", required=False, empty_label="Nobody")
    note = forms.CharField(label="Remarks", max_length=300, required=False)

    def __init__(
        self, *args: Any, off: Callable[[int], int | None], by: Any, others: Sequence[Any] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.off, self.others = off, others  # `off`: how far a sum is from what should be there
        self.fields["second"].queryset = active_people().exclude(pk=by.pk)
        self.fields["blind"].initial = bool(others)

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if not self.errors and not self.is_filled():
            raise ValidationError("Say what was in the bag. If it was empty, type 0 as the sum.")
        if self.errors or said["note"]:
            return said
        if said["blind"] and said["second"]:
            raise ValidationError("Either you counted together, or each for yourself. Choose one of them.")
        if self.others and not said["blind"]:
            self.add_error("note", "Others counted this bag for themselves. Say what became of their counts.")
        elif not said["blind"] and rules.is_far_off(self.off(self.result()[1]), self.result()[1]):
            # Without the sum that was expected: it must not steer the second count.
            self.add_error("note", "Is that right? It is far from what should be in this bag. Count again, or say why.")
        return said

    def facts(self) -> dict[str, Any]:
        how, cents, lines = self.result()
        given = {"uuid": self.cleaned_data["uuid"], "how": how, "cents": cents, "lines": lines}
        if self.cleaned_data["blind"]:
            return given
        return {**given, **{name: self.cleaned_data[name] for name in ("note", "second")}}


class HandOverForm(forms.Form):
    person = PersonField(label="Who has it now?", required=False, empty_label="The safe")
    at = PastField()

    def __init__(self, *args: Any, bag: Bag, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].zone, self.fields["at"].now = bag.location.time_zone, now

    def facts(self) -> dict[str, Any]:
        person = self.cleaned_data["person"]
        return {**self.cleaned_data, "holder": Holder.PERSON if person else Holder.SAFE}


class DaysForm(forms.Form):
    """Two days from the address; the last ninety when none were given or they cannot be used, with a sentence."""

    since = DayField(required=False)
    until = DayField(required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        given, self.problem = self.cleaned_data if self.is_valid() else {}, ""
        if self.errors:
            self.problem = f"Those days cannot be used, so these are the last {USUAL_DAYS}. Write days like 2026-03-31."
        until = given.get("until") or today
        since = given.get("since") or until - timedelta(days=USUAL_DAYS - 1)
        self.first, self.last = sorted((since, until))
