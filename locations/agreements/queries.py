"""Reads about agreements: what is in force on a day, and the deals of many locations at once."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import NamedTuple

from locations.agreements import rules
from locations.agreements.models import Agreement, Payment, Term
from locations.agreements.rules_periods import DAY, Period, Rhythm
from locations.agreements.rules_terms import Deal, TermLine
from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.kit import money
from routeapp.kit.prepared import Prepared


class Said(NamedTuple):
    """What a deal is made of, besides its terms: columns of an agreement, and the day its location was closed."""

    pk: int
    location_id: int
    machine_id: int | None
    starts_on: date
    over: bool
    settled: str
    anchor: date | None
    paid: str
    tiers_on: str
    tax_by: str
    card_fees_by: str
    prize_cost_by: str
    refunds_by: str
    closed_on: date | None = None


TERM = ("kind", "rate_bp", "above_cents", "cents", "per")
_agreements = Prepared(
    lambda locations: (
        Agreement.objects.live()
        .filter(location__in=locations)
        .order_by("-starts_on", "-pk")
        .values_list(*Said._fields[:-1], "location__closed_on")
    ),
    list,
)
_terms = Prepared(
    lambda locations: (
        Term.objects.filter(agreement__location__in=locations, agreement__withdrawn_at=None)
        .order_by()
        .values_list("agreement", *TERM)
    ),
    list,
)


def deals_for(location_ids: Iterable[int]) -> dict[int, list[Deal]]:
    """The deals by location id, oldest first, those of single cabinets among them; in two queries. They end at the
    latest on the day the location was closed."""
    ids = list(location_ids)
    terms: dict[int, list[TermLine]] = defaultdict(list)
    for agreement, *line in _terms(ids):
        terms[agreement].append(TermLine(*line))
    found: dict[int, list[Deal]] = defaultdict(list)
    ends: dict[tuple[int, int | None], date] = {}  # the day before the next one starts, by what it is about
    for said in (Said(*row) for row in _agreements(ids)):
        about = (said.location_id, said.machine_id)
        if not said.over and (said.closed_on is None or said.starts_on <= said.closed_on):
            last_days = filter(None, (ends.get(about), said.closed_on))
            found[said.location_id].insert(0, _deal(said, terms[said.pk], min(last_days, default=None)))
        ends[about] = said.starts_on - DAY
    return found


def own_terms(day: date) -> list[Agreement]:
    """The agreements about single cabinets that are in force on a day, with location and cabinet."""
    about = Agreement.objects.live().filter(machine__isnull=False)
    deals = deals_for(about.values_list("location", flat=True)).values()
    holding = [deal.agreement for each in deals for deal in each if deal.machine and deal.holds_on(day)]
    return list(about.filter(pk__in=holding).select_related("location", "machine").order_by("location__name", "pk"))


def _deal(said: Said | Agreement, terms: Iterable[TermLine], ends_on: date | None = None) -> Deal:
    """An agreement as figures. Two weeks are counted from its start where it names no day."""
    return Deal(
        agreement=said.pk,
        location=said.location_id,
        machine=said.machine_id,
        starts_on=said.starts_on,
        ends_on=ends_on,
        settled=_rhythm(said),
        paid=said.paid,
        terms=tuple(sorted(terms)),
        tiers_on=said.tiers_on,
        tax_by=said.tax_by,
        card_fees_by=said.card_fees_by,
        prize_cost_by=said.prize_cost_by,
        refunds_by=said.refunds_by,
    )


def in_force(location: Location, day: date) -> list[Deal]:
    """What holds on `day` (the location's calendar): the deal of the location, then those of single cabinets."""
    holding = [deal for deal in deals_for([location.pk])[location.pk] if deal.holds_on(day)]
    return sorted(holding, key=lambda deal: deal.machine or 0)


def _rhythm(agreement: Said | Agreement) -> Rhythm:
    counted_from_start = agreement.settled == Period.FORTNIGHT and agreement.anchor is None
    return Rhythm(agreement.settled, agreement.starts_on - DAY if counted_from_start else agreement.anchor)


def words(deal: Deal) -> str:
    """What was agreed, as one sentence; worked out once for all deals that say the same."""
    return _words(deal.said, money.active())


@lru_cache(maxsize=1000)
def _words(said: tuple, currency: str) -> str:
    deal = Deal(0, 0, None, date.min, None, *said)
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
    terms = (TermLine(*(getattr(term, name) for name in TERM)) for term in row.terms.all())
    said = "from then on nothing is agreed" if row.over else words(holds or _deal(row, terms))
    ends_on = holds.ends_on if holds else None
    return Listed(row, row.machine.code if row.machine else "", said, ends_on, _state(row, holds, day))


def _state(row: Agreement, holds: Deal | None, day: date) -> str:
    if row.withdrawn_at:
        return "withdrawn"
    if row.starts_on > day:
        return "to come"
    return "in force" if holds and holds.holds_on(day) else "past"
