"""Reads about agreements: what is in force on a day, and the deals of many locations at once."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F

from locations.agreements import rules
from locations.agreements.models import Agreement, Payment
from locations.agreements.rules_periods import DAY, Period, Rhythm
from locations.agreements.rules_terms import COSTS, Deal, TermLine
from locations.sites.models import Location
from machines.cabinets.models import Machine


def deals_for(location_ids: Iterable[int]) -> dict[int, list[Deal]]:
    """The deals by location id, oldest first, those of single cabinets among them; in two queries. They end at the
    latest on the day the location was closed."""
    rows: Any = Agreement.objects.live().filter(location__in=list(location_ids)).prefetch_related("terms")
    rows = rows.annotate(closed_on=F("location__closed_on")).order_by("-starts_on", "-pk")
    found: dict[int, list[Deal]] = defaultdict(list)
    ends: dict[tuple[int, int | None], date] = {}  # the day before the next one starts, by what it is about
    for row in rows:
        about = (row.location_id, row.machine_id)
        if not row.over and (row.closed_on is None or row.starts_on <= row.closed_on):
            last_days = filter(None, (ends.get(about), row.closed_on))
            found[row.location_id].insert(0, deal(row, min(last_days, default=None)))
        ends[about] = row.starts_on - DAY
    return found


def own_terms(day: date) -> list[Agreement]:
    """The agreements about single cabinets that are in force on a day, with location and cabinet."""
    about = Agreement.objects.live().filter(machine__isnull=False)
    deals = deals_for(about.values_list("location", flat=True)).values()
    holding = [deal.agreement for each in deals for deal in each if deal.machine and deal.holds_on(day)]
    return list(about.filter(pk__in=holding).select_related("location", "machine").order_by("location__name", "pk"))


def deal(agreement: Agreement, ends_on: date | None = None) -> Deal:
    """An agreement as figures. Two weeks are counted from its start where it names no day."""
    terms = (
        TermLine(term.kind, term.rate_bp, term.above_cents, term.cents, term.per) for term in agreement.terms.all()
    )
    return Deal(
        agreement=agreement.pk,
        location=agreement.location_id,
        machine=agreement.machine_id,
        starts_on=agreement.starts_on,
        ends_on=ends_on,
        settled=_rhythm(agreement),
        paid=agreement.paid,
        terms=tuple(sorted(terms)),
        tiers_on=agreement.tiers_on,
        **{f"{cost}_by": getattr(agreement, f"{cost}_by") for cost in COSTS},
    )


def in_force(location: Location, day: date) -> list[Deal]:
    """What holds on `day` (the location's calendar): the deal of the location, then those of single cabinets."""
    holding = [deal for deal in deals_for([location.pk])[location.pk] if deal.holds_on(day)]
    return sorted(holding, key=lambda deal: deal.machine or 0)


def _rhythm(agreement: Agreement) -> Rhythm:
    counted_from_start = agreement.settled == Period.FORTNIGHT and agreement.anchor is None
    return Rhythm(agreement.settled, agreement.starts_on - DAY if counted_from_start else agreement.anchor)


def words(deal: Deal) -> str:
    """What was agreed, as one sentence."""
    return rules.in_words(deal, Payment(deal.paid).label)


def words_of(deals: Sequence[Deal]) -> list[str]:
    """Deals in words, one sentence for each: the location and cabinets with terms of their own."""
    codes = dict(
        Machine.objects.filter(pk__in=[deal.machine for deal in deals if deal.machine]).values_list("pk", "code")
    )
    return [f"{codes[deal.machine]}: {words(deal)}" if deal.machine else words(deal) for deal in deals]


SHAPES = {"in force": "good", "to come": "warn", "past": "none", "withdrawn": "bad"}


@dataclass(frozen=True)
class Listed:
    """One agreement as a list shows it."""

    agreement: Agreement
    about: str  # a cabinet's code, or that it is about all the others
    words: str
    ends_on: date | None
    state: str  # in force, to come, past, withdrawn

    @property
    def shape(self) -> str:
        return SHAPES[self.state]


def agreements_of(location: Location, day: date) -> list[Listed]:
    """All agreements of a location, the newest start first, withdrawn ones too; `day` tells what is in force."""
    rows = Agreement.objects.filter(location=location).select_related("by", "withdrawn_by", "machine")
    deals = {deal.agreement: deal for deal in deals_for([location.pk])[location.pk]}
    return [
        _listed(row, deals.get(row.pk), day) for row in rows.prefetch_related("terms").order_by("-starts_on", "-pk")
    ]


def _listed(row: Agreement, holds: Deal | None, day: date) -> Listed:
    said = "from then on nothing is agreed" if row.over else words(holds or deal(row))
    ends_on = holds.ends_on if holds else None
    return Listed(row, row.machine.code if row.machine else "", said, ends_on, _state(row, holds, day))


def _state(row: Agreement, holds: Deal | None, day: date) -> str:
    if row.withdrawn_at:
        return "withdrawn"
    if row.starts_on > day:
        return "to come"
    return "in force" if holds and holds.holds_on(day) else "past"
