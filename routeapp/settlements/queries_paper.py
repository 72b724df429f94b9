"""An issued settlement as its paper shows it, on a page, as a PDF and behind the host's link."""

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from locations.agreements.rules_periods import Stretch
from routeapp.cash.models import CashMove
from routeapp.kit import clock
from routeapp.kit.money import as_text
from routeapp.settlements import queries, rules
from routeapp.settlements.models import Settlement, SettlementLine
from routeapp.settlements.queries_drafts import signed
from routeapp.settlements.rules_paper import Row, SettlementPaper
from routeapp.team.models import Business


@dataclass(frozen=True)
class Paid:
    """One payment a paper takes off."""

    move: CashMove
    words: str
    cents: int

    @property
    def taken_off(self) -> int:
        return -self.cents


@dataclass(frozen=True)
class Shown:
    """A settlement with all that its paper says."""

    settlement: Settlement
    lines: list[SettlementLine]
    paid: list[Paid]

    @property
    def spoken(self) -> str:
        return rules.spoken(Stretch(self.settlement.since, self.settlement.until))

    @property
    def title(self) -> str:
        return f"{self.settlement} for {self.spoken}"

    @property
    def issued_on(self) -> date:
        """The day, where the location is."""
        return clock.local_day(self.settlement.at, self.settlement.location.time_zone)

    @property
    def balance(self) -> int:
        return abs(self.settlement.closing_cents)

    @property
    def balance_words(self) -> str:
        is_owed = self.settlement.closing_cents >= 0
        return "To be paid" if is_owed else "Paid beyond this settlement, taken off the next"


def shown(settlement: Settlement) -> Shown:
    lines = list(settlement.lines.select_related("machine", "adjusts").order_by("place"))
    return Shown(settlement, lines, paid_of(list(settlement.payments.order_by("day", "pk"))))


def paid_of(moves: list[CashMove]) -> list[Paid]:
    """Payments in words. What was taken back is left out, together with what it took back."""
    ids = {move.pk for move in moves}
    undone = {move.reverses_id for move in moves if move.reverses_id in ids}
    kept = [move for move in moves if move.pk not in undone and move.reverses_id not in undone]
    means = queries.means_of(kept)
    return [Paid(move, queries.words_of(move, means), signed(move)) for move in kept]


def how(line: SettlementLine) -> str:
    """How a line was worked out: “$120.00 × 40 %”, empty where that says no more than the line itself."""
    rate, code = Fraction(line.rate), line.settlement.currency
    if line.adjusts_id or rate == 1:
        return ""
    if line.kind == "share":
        return f"{as_text(line.base_cents, code)} × {float(rate * 100):g} %"
    return f"{as_text(line.base_cents, code)} × {rate}" if rate > 0 else ""


def paper(found: Shown, business: Business) -> SettlementPaper:
    """What the PDF of a settlement says."""
    one, code = found.settlement, found.settlement.currency

    def row(what: str, cents: int, how: str = "") -> Row:
        return Row(what, how, as_text(cents, code))

    said: Any = [("Location", f"{one.location.name}\n{one.location.address}".strip()), ("Days", found.spoken)]
    said += [("Issued", f"{found.issued_on:%-d %B %Y}"), ("Agreed", one.terms)]
    return SettlementPaper(
        sender=business.name,
        contact=business.contact,
        to=f"To {one.location.host}",
        title=f"{one}{f' (replaces number {one.replaces.number})' if one.replaces else ''}",
        stamp=f"VOID: {one.reason}" if one.withdrawn_at else "",
        facts=[(name, value) for name, value in said if value],
        rows=[row(_what(line), line.cents, how(line)) for line in found.lines],
        total=row("For these days", one.cents),
        balance=[row("Open before", one.carried_cents)]
        + [row(f"{paid.words}, {paid.move.day:%-d %B %Y}", paid.taken_off) for paid in found.paid],
        closing=row(found.balance_words, found.balance),
        remarks=one.remarks,
        code=code,
    )


def _what(line: SettlementLine) -> str:
    cabinet = f"{line.machine}: " if line.machine else ""
    whole = (line.since, line.until) == (line.settlement.since, line.settlement.until)
    days = "" if whole or line.adjusts_id else f" ({rules.spoken(Stretch(line.since, line.until))})"
    return f"{cabinet}{line.words}{days}"
