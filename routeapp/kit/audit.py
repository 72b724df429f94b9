"""The log of who did what, written in the same transaction as the deed itself."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from datetime import datetime
from typing import Any

from django.contrib.admin.models import ADDITION, LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db.models import Max

from routeapp.kit.prepared import insert_plain

LATE = 50  # lines; one whose number is that much lower than the newest was written long before
MOST_LINES = 300

Concerns = Mapping[Any, Callable[[Collection[str]], Collection[int]]]


def record(verb: str, subject: Any, *, by: Any, at: datetime) -> None:
    """Append one line: `by` did `verb` ("assigned", "counted") to `subject` at the moment `at`."""
    record_all(verb, [subject], by=by, at=at)


def record_all(verb: str, subjects: Iterable[Any], *, by: Any, at: datetime) -> None:
    """A line for each of them."""
    subjects = list(subjects)
    shared = {"user_id": by.pk, "action_flag": ADDITION, "change_message": verb, "action_time": at}
    kinds = {kind: ContentType.objects.get_for_model(kind).pk for kind in set(map(type, subjects))}
    lines = [
        {
            **shared,
            "content_type_id": kinds[type(subject)],
            "object_id": str(subject.pk),
            "object_repr": str(subject)[:200],
        }
        for subject in subjects
    ]
    insert_plain(LogEntry, lines)


def latest() -> frozenset[int]:
    """The numbers of the newest lines. On PostgreSQL a lower one can come after a higher one: numbers are given before
    what they stand in is written for good."""
    return frozenset(LogEntry.objects.order_by("-pk").values_list("pk", flat=True)[:LATE])


def concerned(known: frozenset[int], concerns: Concerns, nothing: Collection[Any]) -> set[int] | None:
    """What the lines since those `known`, which were the `latest` then, are about; None: it may be everything.

    `concerns` gives ids of the subjects of a model; subjects of the models in `nothing` have none. Whatever is in
    neither is about everything.
    """
    new = LogEntry.objects.filter(pk__gt=max(known, default=0) - LATE).exclude(pk__in=known).order_by()
    lines = list(new.values_list("content_type", "object_id")[: MOST_LINES + 1])
    if len(lines) > MOST_LINES:
        return None
    subjects: dict[Any, set[str]] = defaultdict(set)
    for kind, pk in lines:
        subjects[ContentType.objects.get_for_id(kind).model_class()].add(pk)
    if subjects.keys() - concerns.keys() - set(nothing):
        return None
    return {pk for model in subjects.keys() & concerns.keys() for pk in concerns[model](subjects[model])}


def newest() -> int:
    """The number of the newest line, 0 without any. It grows with everything that an action changes."""
    return LogEntry.objects.aggregate(newest=Max("pk"))["newest"] or 0
