"""Reads about agreements: which one is in force on a day, and the rates of many locations at once."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from locations.agreements import rules
from locations.agreements.models import Agreement, Term, TermKind
from locations.sites.models import Location


def in_force(location: Location, day: date) -> Agreement | None:
    """The agreement that holds on `day` (the location's calendar): the live one that started last."""
    started = Agreement.objects.live().filter(location=location, starts_on__lte=day)
    return started.order_by("-starts_on").prefetch_related("terms").first()


def terms_for(location_ids: Iterable[int]) -> dict[int, list[tuple[date, int]]]:
    """The host's share by location id as (from this day on, hundredths of a percent), oldest first, in one query."""
    rates: dict[int, list[tuple[date, int]]] = defaultdict(list)
    live = Term.objects.filter(
        kind=TermKind.SHARE, agreement__location__in=list(location_ids), agreement__withdrawn_at=None
    )
    columns = ("agreement__location", "agreement__starts_on", "rate_bp")
    for location, starts_on, rate_bp in live.order_by("agreement__starts_on").values_list(*columns):
        rates[location].append((starts_on, rate_bp))
    return rates


def words(agreement: Agreement) -> str:
    """What was agreed, as one sentence."""
    terms = {term.kind: term.rate_bp for term in agreement.terms.all()}
    return rules.in_words(terms, agreement.get_settled_display(), agreement.get_paid_display())


@dataclass(frozen=True)
class Listed:
    """One agreement as a list shows it."""

    agreement: Agreement
    words: str
    in_force: bool
    to_come: bool


def agreements_of(location: Location, day: date) -> list[Listed]:
    """All agreements of a location, the newest start first, withdrawn ones too; the one in force on `day` is marked."""
    rows = Agreement.objects.filter(location=location).select_related("by", "withdrawn_by").prefetch_related("terms")
    current = in_force(location, day)
    return [
        Listed(row, words(row), in_force=row == current, to_come=row.starts_on > day and row.withdrawn_at is None)
        for row in rows.order_by("-starts_on", "-pk")
    ]
