"""Tax that lies inside the price players pay, by the rule somebody chose. What is due by law is not said here.

A rule gives a divisor: gross ÷ divisor is net, the rest is tax. A rate of 4 % divides by 1.04; some authorities
publish divisors that are not one plus a rate. Amounts in whole minor units, rates and divisors in millionths.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from routeapp.kit.choices import TextChoices
from routeapp.kit.money import half_up

ONE = 1_000_000


class Treatment(TextChoices):
    """What a play counts as; an accountant decides."""

    AMUSEMENT = "amusement", "amusement"
    GOODS = "goods", "sale of goods"


class How(TextChoices):
    RATE = "rate", "by a rate inside the price, in percent"
    DIVISOR = "divisor", "by a published divisor"


@dataclass(frozen=True, order=True)
class Rule:
    """A dated rule of one jurisdiction. It holds from `valid_from` to `valid_to` (None: until another one starts)."""

    jurisdiction: str
    treatment: str
    valid_from: date
    valid_to: date | None
    how: str
    millionths: int
    source: str

    @property
    def divisor(self) -> Fraction:
        return Fraction(self.millionths + (ONE if self.how == How.RATE else 0), ONE)

    @property
    def words(self) -> str:
        """“4 % inside the price”, “divided by 1.0659”."""
        figure = Decimal(self.millionths) / ONE
        return f"{percent(self.millionths)} inside the price" if self.how == How.RATE else f"divided by {plain(figure)}"

    def holds_on(self, day: date) -> bool:
        return self.valid_from <= day and (self.valid_to is None or day <= self.valid_to)


@dataclass(frozen=True)
class TaxLine:
    """What one rule makes of an amount: gross = net + tax."""

    rule: Rule
    gross: int
    net: int
    tax: int

    @property
    def words(self) -> str:
        return f"{self.rule.jurisdiction}, {Treatment(self.rule.treatment).label}: {self.rule.words}"

    @property
    def source(self) -> str:
        return self.rule.source


def inside(cents: int, rule: Rule) -> TaxLine:
    """The tax inside an amount: the net is rounded half up, once; the tax is the rest."""
    net = half_up(cents / rule.divisor)
    return TaxLine(rule, cents, net, cents - net)


def tax_lines(amounts: Iterable[tuple[Rule | None, int]]) -> list[TaxLine]:
    """One line for each rule, over all amounts it holds for. What falls under no rule has no line."""
    gross: dict[Rule, int] = defaultdict(int)
    for rule, cents in amounts:
        if rule is not None:
            gross[rule] += cents
    return [inside(cents, rule) for rule, cents in sorted(gross.items(), key=_in_order)]


def _in_order(one: tuple[Rule, int]) -> tuple[str, str, date]:
    return one[0].jurisdiction, one[0].treatment, one[0].valid_from


@dataclass(frozen=True)
class TaxBook:
    """Which rule holds where: jurisdictions by location and treatments by cabinet, each from a day on, oldest first;
    rules by jurisdiction and treatment."""

    places: Mapping[int, Sequence[tuple[date, int | None]]] = field(default_factory=dict)
    cabinets: Mapping[int, Sequence[tuple[date, str]]] = field(default_factory=dict)
    rules: Mapping[tuple[int, str], Sequence[Rule]] = field(default_factory=dict)

    def rule(self, location: int, machine: int | None, day: date) -> Rule | None:
        """The rule for a cabinet at a location on a day; None where no jurisdiction or no rule is known."""
        jurisdiction = last_by(self.places.get(location, ()), day)
        rules = self.rules.get((jurisdiction or 0, self.treatment(machine, day)), ())
        return next((rule for rule in reversed(rules) if rule.holds_on(day)), None)

    def treatment(self, machine: int | None, day: date) -> str:
        """What a play of a cabinet counts as: an amusement, until somebody said something else."""
        return last_by(self.cabinets.get(machine or 0, ()), day) or Treatment.AMUSEMENT


def last_by(dated: Sequence[tuple[date, Any]], day: date) -> Any:
    """What was said last for a day; None before anything was."""
    return next((said for since, said in reversed(dated) if since <= day), None)


def percent(millionths: int) -> str:
    """A rate in words: 70000 is 7 %."""
    return f"{plain(Decimal(millionths) * 100 / ONE)} %"


def plain(figure: Decimal) -> str:
    """Without zeros at the end."""
    return f"{figure.normalize():f}"
