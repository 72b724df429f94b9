"""Writing down what a meter showed."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.dispatch import Signal

from machines.cabinets.models import Meter, Reading, ReadingKind
from machines.cabinets.rules import Explanation
from routeapp.kit.errors import Refused
from routeapp.kit.prepared import insert

taken = Signal()  # a `reading` by itself; what visits append by the dozen is told by them


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
    reading = Reading(
        meter=meter,
        value=value,
        kind=kind,
        tests_before=tests_before if meter.counts_tests else 0,
        tests_after=tests_after if meter.counts_tests else 0,
        explained_as=explained_as,
        reason=reason,
        at=at,
        source=source,
    )
    append(readings=[reading], by=by, at=received_at)
    taken.send(Reading, reading=reading)
    return reading


def append(*, readings: Sequence[Reading], by: Any, at: datetime) -> None:
    """Save unsaved readings, each with its own moment; `at` is when they were received. Refuses likewise."""
    for one in readings:
        if not 0 <= one.value < 10**one.meter.digits:
            digits = f"has {one.meter.digits} digits; it cannot show {one.value:,}."
            raise Refused(f"The {one.meter} of {one.meter.machine} {digits}", "value")
        one.by_id, one.received_at = by.pk, at
    insert(readings)
