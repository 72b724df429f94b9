"""Writing down what a meter showed."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from machines.cabinets.models import Meter, Reading, ReadingKind
from machines.cabinets.rules import Explanation
from routeapp.kit.errors import Refused


@transaction.atomic
def take_reading(
    *,
    meter: Meter,
    value: int,
    kind: str = ReadingKind.READING,
    tests_before: int = 0,
    tests_after: int = 0,
    explained_as: str = Explanation.NONE,
    reason: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
) -> Reading:
    """Append one reading. Refuses a value that the meter has not enough digits to show.

    Unusual values are kept: the question is asked on the page, and derived figures leave the stretch out
    until somebody explains it.
    """
    if not 0 <= value < 10**meter.digits:
        raise Refused(f"The {meter} of {meter.machine} has {meter.digits} digits; it cannot show {value:,}.", "value")
    return Reading.objects.create(
        meter=meter,
        value=value,
        kind=kind,
        tests_before=tests_before if meter.counts_tests else 0,
        tests_after=tests_after if meter.counts_tests else 0,
        explained_as=explained_as,
        reason=reason,
        by=by,
        at=at,
        received_at=received_at,
        source=source,
    )
