"""Reads about cabinets and their models: lists, settings, what they have been through."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, Max, OuterRef, Q, QuerySet, Subquery

from machines.cabinets import rules_entry
from machines.cabinets.models import (
    GONE,
    CabinetModel,
    Machine,
    Meter,
    Reading,
    SettingsChange,
    Status,
    StatusChange,
)

# Never by arrival: late phones must change nothing. What was typed on a page comes after a visit of the same moment.
NEWEST_FIRST = ("-at", F("source").desc(nulls_first=True), "-pk")
SETTINGS = ("grip_strength", "payout_target", "play_seconds", "credits_per_coin")


def cabinets(*, status: str = "", kind: str = "") -> QuerySet:
    """Cabinets by code. Sold and scrapped ones only when `status` asks for them."""
    found = Machine.objects.select_related("model")
    found = found.filter(status=status) if status else found.exclude(status__in=GONE)
    return found.filter(model__kind=kind) if kind else found


def status_counts() -> list[tuple[str, int]]:
    """How many cabinets we own in each status that occurs, in the order of a cabinet's life."""
    rows = Machine.objects.exclude(status__in=GONE).values_list("status").annotate(Count("pk")).order_by()
    counts = dict(rows)
    return [(status.label, counts[status]) for status in Status if status in counts]


def next_code() -> str:
    return rules_entry.next_code(list(Machine.objects.order_by("pk").values_list("code", flat=True)))


def newest_cabinet() -> Machine | None:
    """The one added last: the next one is likely to be of the same sort."""
    return Machine.objects.order_by("-pk").first()


def cabinet_models() -> QuerySet:
    """Models by name with `owned`, how many cabinets of each we have."""
    return CabinetModel.objects.annotate(owned=Count("machines", filter=~Q(machines__status__in=GONE))).order_by("name")


@dataclass(frozen=True)
class CurrentSettings:
    """How a cabinet is set now; None where nobody has said."""

    grip_strength: int | None = None
    payout_target: int | None = None
    play_seconds: int | None = None
    credits_per_coin: int | None = None
    since: datetime | None = None


def settings_of(machines: Iterable[Machine]) -> dict[int, CurrentSettings]:
    """How each of these cabinets is set now, in one query."""
    live = SettingsChange.objects.live().filter(machine=OuterRef("pk")).order_by(*NEWEST_FIRST)
    newest = {f"now_{name}": Subquery(live.exclude(**{name: None}).values(name)[:1]) for name in SETTINGS}
    rows = (
        Machine.objects.filter(pk__in=[machine.pk for machine in machines])
        .annotate(**newest, since=Subquery(live.values("at")[:1]))
        .values_list("pk", *newest, "since")
        .order_by()
    )
    return {pk: CurrentSettings(*values) for pk, *values in rows}


def current_settings(machine: Machine) -> CurrentSettings:
    return settings_of([machine])[machine.pk]


def settings_history(machine: Machine) -> QuerySet:
    changes = SettingsChange.objects.live().filter(machine=machine)
    return changes.select_related("by").order_by(*NEWEST_FIRST)


def status_history(machine: Machine) -> QuerySet:
    return StatusChange.objects.live().filter(machine=machine).select_related("by").order_by(*NEWEST_FIRST)


def status_at(machine: Machine, at: datetime) -> str | None:
    """What a cabinet was at a moment, None before its first step."""
    steps = StatusChange.objects.live().filter(machine=machine, at__lte=at).order_by(*NEWEST_FIRST)
    return steps.values_list("status", flat=True).first()


def out_of_order() -> QuerySet:
    """Cabinets out of order, each with `since` when and what was `said` then."""
    newest = StatusChange.objects.live().filter(machine=OuterRef("pk")).order_by(*NEWEST_FIRST)
    notes = {"since": Subquery(newest.values("at")[:1]), "said": Subquery(newest.values("note")[:1])}
    return Machine.objects.filter(status=Status.OUT_OF_ORDER).select_related("model").annotate(**notes)


def times_out_of_order(
    machine_ids: Iterable[int], until: datetime
) -> dict[int, list[tuple[datetime, datetime | None]]]:
    """When these cabinets went out of order before a moment, and when they were something else again, by machine id."""
    live = StatusChange.objects.live().filter(at__lt=until)
    ever = live.filter(machine__in=list(machine_ids), status=Status.OUT_OF_ORDER).values("machine")
    found: dict[int, list[tuple[datetime, datetime | None]]] = {}
    steps = live.filter(machine__in=ever).order_by("machine", "at", "pk")
    for machine, status, at in steps.values_list("machine", "status", "at"):
        spans = found.setdefault(machine, [])
        begun = bool(spans) and spans[-1][1] is None
        if status == Status.OUT_OF_ORDER and not begun:
            spans.append((at, None))
        elif status != Status.OUT_OF_ORDER and begun:
            spans[-1] = spans[-1][0], at
    return found


def meters() -> QuerySet:
    """All meters, in use or not, each with its last live reading (`last_value`, `last_at`)."""
    last = Reading.objects.live().filter(meter=OuterRef("pk")).order_by("-at", "kind", "-pk")
    newest = {"last_value": Subquery(last.values("value")[:1]), "last_at": Subquery(last.values("at")[:1])}
    return Meter.objects.select_related("machine").annotate(**newest)


def removed_meters(machine: Machine) -> QuerySet:
    return meters().filter(machine=machine, removed_at__isnull=False).order_by("-removed_at", "-pk")


def last_read_at(meter: Meter) -> datetime | None:
    return Reading.objects.live().filter(meter=meter).aggregate(Max("at"))["at__max"]
