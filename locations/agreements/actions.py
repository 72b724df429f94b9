"""Agreeing on terms with a host, and taking back terms written down wrongly."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from locations.agreements.models import Agreement, Term
from locations.sites.models import Location
from routeapp.kit import audit
from routeapp.kit.errors import Refused

MOST_BP = 10_000  # all of the take


@transaction.atomic
def add_agreement(
    *,
    location: Location,
    starts_on: date,
    terms: Mapping[str, int],
    settled: str,
    paid: str,
    note: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
) -> Agreement:
    """Put `terms` (rate by kind of term) in force from a day on. The same agreement sent twice is one.

    Refuses a second agreement from the same day: the first is withdrawn before.
    """
    Location.objects.select_for_update().get(pk=location.pk)
    if any(not 0 <= rate <= MOST_BP for rate in terms.values()):
        raise Refused("A share lies between 0 and 100 percent.", "share")
    columns = {"settled": settled, "paid": paid, "note": note}
    other = Agreement.objects.live().filter(location=location, starts_on=starts_on).first()
    if other is not None:
        same = {name: getattr(other, name) for name in columns} == columns
        if same and dict(other.terms.values_list("kind", "rate_bp")) == dict(terms):
            return other
        raise Refused("Another agreement starts on that day. Withdraw it first, or choose another day.", "starts_on")
    agreement = Agreement.objects.create(
        location=location, starts_on=starts_on, **columns, by=by, at=at, received_at=received_at
    )
    Term.objects.bulk_create(Term(agreement=agreement, kind=kind, rate_bp=rate) for kind, rate in terms.items())
    audit.record(f"agreed on terms from {starts_on}", location, by=by, at=received_at)
    return agreement


@transaction.atomic
def withdraw_agreement(*, agreement: Agreement, by: Any, at: datetime) -> None:
    """Take back an agreement that was written down wrongly; the one before it holds again. It stays readable."""
    if Agreement.objects.live().filter(pk=agreement.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record(f"withdrew the terms from {agreement.starts_on}", agreement.location, by=by, at=at)
