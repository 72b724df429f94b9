"""What is written down at the bench."""

import zlib
from typing import Any

from django import forms

from machines.bench.models import Result, Starts
from machines.bench.queries import checks_of, coins_tried_last
from machines.bench.rules import Coin, Shown
from machines.cabinets.models import Machine
from routeapp.kit import money
from routeapp.kit.forms import CountField, MoneyField, OnceForm, PastField

COINS = 4
MOST = 999  # nobody plays more on a bench


def _field_of(what: str) -> str:
    """A field's name from its line, so that an answer stays with its line when the model's list changes meanwhile."""
    return f"check_{zlib.crc32(what.encode()):08x}"


class BenchForm(OnceForm):
    at = PastField()
    starts = forms.ChoiceField(
        label="Does it start?",
        choices=[("", "Choose"), *Starts.choices],
        help_text="If it does not, try another outlet before anything is opened.",
    )
    watts = CountField(label="Power drawn (watts)", max_value=20_000, required=False)
    plays = CountField(label="Test plays", max_value=MOST, required=False)
    wins = CountField(label="Prizes won in them", max_value=MOST, required=False)
    reader = forms.CharField(label="Serial number of the card reader", max_length=60, required=False)
    pulses_sent = CountField(label="Coins' worth sold by card", max_value=MOST, required=False)
    pulses_counted = CountField(label="Credits the cabinet gave for it", max_value=MOST, required=False)
    labelled = forms.BooleanField(label="The label is on it and a phone reads it", required=False)
    note = forms.CharField(max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, machine: Machine, now: Any, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].now, self.fields["at"].zone = now, zone
        self.checks = checks_of(machine.model)
        if machine.model.watts:
            self.fields["watts"].help_text = f"Its model says {machine.model.watts}; from a plug-in meter."
        for what in self.checks:
            self.fields[_field_of(what)] = forms.ChoiceField(
                label=what, choices=[("", "–"), *Result.choices], required=False
            )
        for number, cents in enumerate([*(coins_tried_last(machine.model) or [machine.price_cents]), *[None] * COINS]):
            if number < COINS:
                self._add_coin(number, cents)

    def _add_coin(self, number: int, cents: int | None) -> None:
        self.fields[f"coin{number}_cents"] = MoneyField(label="Worth", required=False, initial=cents)
        self.fields[f"coin{number}_tried"] = CountField(label="Put in", max_value=MOST, required=False)
        self.fields[f"coin{number}_taken"] = CountField(label="Taken", max_value=MOST, required=False)

    def check_fields(self) -> list[forms.BoundField]:
        return [self[_field_of(what)] for what in self.checks]

    def coin_rows(self) -> list[list[forms.BoundField]]:
        return [[self[f"coin{number}_{name}"] for name in ("cents", "tried", "taken")] for number in range(COINS)]

    def clean(self) -> None:
        data = self.cleaned_data
        if (data.get("wins") or 0) > (data.get("plays") or 0):
            self.add_error("wins", "There cannot be more prizes than plays.")
        worths: set[int] = set()
        for number in range(COINS):
            cents, tried, taken = (data.get(f"coin{number}_{name}") for name in ("cents", "tried", "taken"))
            if (taken or 0) > (tried or 0):
                self.add_error(f"coin{number}_taken", "More were taken than were put in.")
            if tried and not cents:
                self.add_error(f"coin{number}_cents", "Say what the coin or note is worth.")
            if tried and cents in worths:
                self.add_error(f"coin{number}_cents", f"{money.as_text(cents)} stands here twice. Add them up.")
            worths |= {cents} if tried and cents else set()

    def shown(self) -> Shown:
        data = self.cleaned_data
        coins = [[data[f"coin{number}_{name}"] for name in ("cents", "tried", "taken")] for number in range(COINS)]
        return Shown(
            starts=data["starts"] != Starts.NO,
            checks={what: data[_field_of(what)] for what in self.checks},
            coins=[Coin(cents, tried, taken or 0) for cents, tried, taken in coins if tried],
            plays=data["plays"] or 0,
            labelled=data["labelled"],
            reader=data["reader"],
            pulses_sent=data["pulses_sent"] or 0,
            pulses_counted=data["pulses_counted"] or 0,
        )

    def said(self) -> dict[str, Any]:
        """What record_test wants to be told."""
        told = {name: self.cleaned_data[name] for name in ("uuid", "at", "starts", "watts", "note")}
        return {**told, "wins": self.cleaned_data["wins"] or 0, "shown": self.shown()}


class LetGoForm(OnceForm):
    reason = forms.CharField(
        label="Why it goes out without a passed test",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="It is kept with your name and the time.",
    )
