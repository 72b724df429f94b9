"""What a person decides about a visit whose times are in doubt: they are right as told, or the clock was off."""

from datetime import datetime
from typing import Any
from uuid import uuid5

from django.db import transaction

from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.visits import rules, rules_document
from routeapp.visits.actions import record_visit
from routeapp.visits.actions_references import own_source
from routeapp.visits.models import TimesKept, Visit


@transaction.atomic
def keep_times(*, visit: Visit, by: Any, at: datetime) -> None:
    """Note that the times of a visit are right as they were told. Noted once; refuses times that are still to come."""
    if visit.departed_at > at:
        raise Refused("These times are still to come, so they cannot be right yet. Correct the visit.")
    made = TimesKept.objects.get_or_create(visit=visit, defaults={"by": by, "at": at})[1]
    if made:
        audit.record("kept the times of", visit, by=by, at=at)


@transaction.atomic
def shift_times(*, visit: Visit, by: Any, at: datetime) -> Visit:
    """Correct a visit's times by as much as the phone's clock was off; all else stays as it was told.

    Pressed twice it is one correction. Refuses a visit whose clock was right, and one that was corrected before.
    """
    ahead = rules.clock_ahead(visit.device_at, visit.received_at)
    if not visit.doubtful or not ahead:
        raise Refused("The phone's clock was right when it sent this visit. Correct the visit by hand.")
    document = rules_document.read(visit.document)
    if document.load_from is None and any(part.loaded or part.mixes or part.removed for part in document.entries):
        # What was left open meant the stock of whoever was there, not of whoever puts the times right.
        document = document.model_copy(update={"load_from": own_source(visit.made_by).pk})
    new = uuid5(visit.pk, f"times put right by {by.pk}")
    right = rules_document.shifted(document, -ahead, new, "the phone's clock was wrong")
    return record_visit(document=right, photos={}, by=by, at=at).visit
