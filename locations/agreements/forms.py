"""What people type about terms, and about an agreement that puts them in force."""

from collections.abc import Iterator
from copy import deepcopy
from datetime import date
from typing import Any

from django import forms
from django.db.models import Q

from locations.agreements.models import Payment
from locations.agreements.rules_periods import Per, Period
from locations.agreements.rules_terms import COSTS, Bearer, Deal, TermKind, TermLine, Tiers, problem_of
from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.kit.forms import DayField, MoneyField, PercentField, UsualField, near

TIERS, MOST_TIERS = 2, 12  # lines for higher shares: at first, and at most
HIGHER = "A higher share when more is taken"
SUMS = ("minimum", "cap", "rent", "visit")
Rows = list[list[forms.BoundField]]
Section = tuple[str, Rows, bool]


def _per(label: str) -> UsualField:
    return UsualField(label=label, choices=Per.choices, initial=Per.MONTH)


def _bearer(label: str) -> UsualField:
    return UsualField(label=label, choices=Bearer.choices, initial=Bearer.OPERATOR)


class TermsForm(forms.Form):
    """Terms of every sort; all but the share and a minimum stand under details. A tick asks for further lines of
    higher shares, so that no script is needed."""

    data: Any

    share = PercentField(
        label="The host's share of the take (%)",
        required=False,
        help_text="The take is what players pay. Leave it empty where only a fixed sum is agreed.",
    )
    minimum = MoneyField(
        label="Guaranteed minimum", required=False, help_text="They get it even when the share is less."
    )
    minimum_per = _per("The minimum is for")
    cap = MoneyField(label="Never more than", required=False)
    cap_per = _per("That is for")
    rent = MoneyField(label="Rent for the floor", required=False)
    rent_per = _per("The rent is for")
    visit = MoneyField(label="A sum for each visit", required=False)
    tier_1_above = MoneyField(label="When the take is above", required=False)
    tier_1_share = PercentField(label="the share is (%)", required=False)
    tier_2_above = MoneyField(label="When it is above", required=False)
    tier_2_share = PercentField(label="the share is (%)", required=False)
    more_tiers = forms.BooleanField(label="There are more figures: ask for them before this is kept", required=False)
    tiers_per = _per("These figures are for")
    tiers_on = UsualField(label="A higher share is for", choices=Tiers.choices, initial=Tiers.PART)
    tax_by = _bearer("Who bears the tax inside the price?")
    card_fees_by = _bearer("Who bears card fees?")
    prize_cost_by = _bearer("Who bears the prizes won?")
    refunds_by = _bearer("Who bears refunds to players?")

    FIRST: tuple[tuple[str, ...], ...] = (("share",), ("minimum", "minimum_per"))
    SECTIONS: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...] = (
        ("A rent, a sum for each visit, a most", (("rent", "rent_per"), ("visit",), ("cap", "cap_per"))),
        (HIGHER, (("more_tiers",), ("tiers_per",), ("tiers_on",))),
        ("Tax, card fees, prizes, refunds", tuple((f"{cost}_by",) for cost in COSTS)),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        said: Any = self.data if self.is_bound else self.initial
        filled = [n for n in range(1, MOST_TIERS + 1) if said.get(f"tier_{n}_above") or said.get(f"tier_{n}_share")]
        self.wants_more = bool(said.get("more_tiers"))
        if self.wants_more:
            self.data = {name: said[name] for name in said if name != "more_tiers"}  # not ticked when it asks
        many = max(TIERS, max(filled, default=0) + 2 * self.wants_more)
        self.tiers = range(1, min(many, MOST_TIERS) + 1)
        for tier in self.tiers[TIERS:]:
            for end in ("above", "share"):
                self.fields[f"tier_{tier}_{end}"] = deepcopy(self.base_fields[f"tier_{TIERS}_{end}"])

    def first(self) -> Rows:
        return self._rows(self.FIRST)

    def _rows(self, names: tuple[tuple[str, ...], ...]) -> Rows:
        return [[self[name] for name in row] for row in names]

    def sections(self) -> Iterator[Section]:
        """Title, rows of fields, and whether something other than the usual stands in one of them."""
        tiers = tuple((f"tier_{tier}_above", f"tier_{tier}_share") for tier in self.tiers)
        for title, rest in self.SECTIONS:
            rows = (*tiers, *rest) if title == HIGHER else rest
            names = [name for row in rows for name in row]
            yield title, self._rows(rows), any(map(self._says_something, names))

    def _says_something(self, name: str) -> bool:
        usual = self.fields[name].initial or ""
        return name in self.errors or str(self[name].value() or usual) != str(usual)

    def clean(self) -> None:
        if self.wants_more:
            self._ask("more_tiers", "Nothing is kept yet. Write the other figures above.")
        for tier in self.tiers:
            above, share = self.cleaned_data.get(f"tier_{tier}_above"), self.cleaned_data.get(f"tier_{tier}_share")
            if above and share is None:
                self._ask(f"tier_{tier}_share", "Say the share above that figure.")
            if share is not None and not above:
                self._ask(f"tier_{tier}_above", "Say from which figure on that share holds.")
        lines = self.lines()
        if not lines:
            self._ask("share", "Say what the host gets. Write 0 if it gets nothing.")
        if problem := problem_of(lines):
            self._ask(problem.field, problem.words)

    def _ask(self, name: str, words: str) -> None:
        if name not in self.errors:
            self.add_error(name, words)

    def lines(self) -> list[TermLine]:
        """The terms as figures."""
        said = self.cleaned_data
        higher = [(said.get(f"tier_{tier}_share"), said.get(f"tier_{tier}_above")) for tier in self.tiers]
        per = said.get("tiers_per", "")
        tiers = [
            TermLine(TermKind.SHARE, rate_bp=rate, above_cents=above, per=per if above else "")
            for number, (rate, above) in enumerate([(said.get("share"), 0), *higher])
            if rate is not None and (above or not number)
        ]
        sums = [
            TermLine(kind, cents=said[kind], per="" if kind == TermKind.VISIT else said.get(f"{kind}_per", ""))
            for kind in SUMS
            if said.get(kind)
        ]
        return tiers + sums

    def chosen(self) -> dict[str, Any]:
        """How the terms are meant, by column of an agreement."""
        return {name: self.cleaned_data[name] for name in ("tiers_on", *(f"{cost}_by" for cost in COSTS))}


def typed_as(deal: Deal) -> dict[str, Any]:
    """How somebody would type the terms of a deal."""
    said: dict[str, Any] = {"tiers_on": deal.tiers_on, **{f"{cost}_by": getattr(deal, f"{cost}_by") for cost in COSTS}}
    for number, line in enumerate(deal.of_kind(TermKind.SHARE)):
        tier = {f"tier_{number}_above": line.above_cents, f"tier_{number}_share": line.rate_bp, "tiers_per": line.per}
        said |= tier if number else {"share": line.rate_bp}
    for line in deal.terms:
        if line.kind in SUMS:
            said |= {str(line.kind): line.cents, f"{line.kind}_per": line.per}
    return said


class AgreementForm(TermsForm):
    starts_on = DayField(label="In force from", help_text="A day in the past changes what earlier weeks show.")
    settled = forms.ChoiceField(
        label="How often you settle",
        choices=Period.choices,
        initial=Period.MONTH,
        help_text="For these days you work out what they get, on a paper they can check.",
    )
    paid = forms.ChoiceField(
        label="How they get it",
        choices=Payment.choices,
        initial=Payment.CASH,
        help_text="Cash is given at the visit itself, or at the next one after the days are settled.",
    )
    machine = forms.ModelChoiceField(
        Machine.objects.none(),
        label="Only for one cabinet",
        required=False,
        empty_label="For all without terms of their own",
    )
    anchor = DayField(
        label="A day on which it is settled",
        required=False,
        help_text="The other days follow: the same weekday every week, every second week, or the last one of a month.",
    )
    note = forms.CharField(required=False, max_length=5000, widget=forms.Textarea(attrs={"rows": 3}))

    FIRST = (*TermsForm.FIRST, ("starts_on",), ("settled",), ("paid",))
    SECTIONS = (
        *TermsForm.SECTIONS,
        ("Only for one cabinet, the days you settle, a note", (("machine",), ("anchor",), ("note",))),
    )

    def __init__(self, *args: Any, location: Location, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["starts_on"].initial = today
        stands = Q(placements__location=location, placements__ended_at=None)
        self.fields["machine"].queryset = (
            Machine.objects.filter(stands | Q(agreements__location=location)).distinct().order_by("code")
        )

    def clean_starts_on(self) -> date | None:
        return near(self.cleaned_data["starts_on"], self.today)

    def clean_anchor(self) -> date | None:
        return near(self.cleaned_data["anchor"], self.today)

    def chosen(self) -> dict[str, Any]:
        names = ("starts_on", "settled", "paid", "machine", "anchor", "note")
        return super().chosen() | {name: self.cleaned_data[name] for name in names}


class EndForm(forms.Form):
    """The last day on which terms hold."""

    last_day = DayField(label="Last day of the terms")

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["last_day"].initial = today

    def clean_last_day(self) -> date | None:
        return near(self.cleaned_data["last_day"], self.today)
