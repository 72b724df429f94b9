"""The tax inside what was taken, by month and rule: what the rules that were written down make of it, no more."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from locations.taxes.queries import rules_for
from locations.taxes.rules import Rule, TaxLine, Treatment, inside
from routeapp.earnings.queries_shares import moneys
from routeapp.earnings.rules import Span
from routeapp.kit.clock import month_start


@dataclass(frozen=True)
class Summed:
    """Take of one month under one rule; without `line` no rule is known for it."""

    month: date
    take: int
    line: TaxLine | None

    @property
    def place(self) -> str:
        return self.line.rule.jurisdiction if self.line else "no rule is known"

    @property
    def treatment(self) -> str:
        return Treatment(self.line.rule.treatment).label if self.line else ""


def tax_by_month(span: Span) -> list[Summed]:
    """A line for each month and rule, the newest month first; each is rounded once."""
    earned = moneys(span)
    taxes = rules_for({location for location, _, _ in earned})
    takes: dict[tuple[date, Rule | None], int] = defaultdict(int)
    for (location, machine, day), brought in earned.items():
        takes[month_start(day), taxes.rule(location, machine, day)] += brought.take
    found = [Summed(month, take, inside(take, rule) if rule else None) for (month, rule), take in takes.items() if take]
    return sorted(found, key=lambda one: (-one.month.toordinal(), one.place, one.treatment))
