"""Reads about labels: which cabinet a code belongs to, and what is printed."""

from collections.abc import Iterable

from django.conf import settings
from django.db.models import QuerySet

from machines.cabinets import rules_entry
from machines.cabinets.models import GONE, Machine
from machines.labels import rules, rules_symbol
from machines.labels.models import Label
from routeapp.kit.tables import matching


def label_for_code(text: str) -> Label | None:
    """The label in use with this code, typed or scanned; None for anything else."""
    code = rules.clean_code(text)
    return Label.objects.live().filter(code=code).select_related("machine__model").first() if code else None


def machine_for_code(text: str) -> Machine | None:
    label = label_for_code(text)
    return label.machine if label else None


def machine_called(text: str) -> Machine | None:
    """The cabinet whose own code this is, or its label's, typed or scanned."""
    try:
        found = Machine.objects.filter(code=rules_entry.clean_code(text)).first()
    except ValueError:
        found = None
    return found or machine_for_code(text)


def labels_of(machines: Iterable[Machine]) -> dict[int, Label]:
    """The label in use of each cabinet that has one, by machine id."""
    live = Label.objects.live().filter(machine__in=list(machines))
    return {label.machine_id: label for label in live.select_related("machine")}


def printable_cabinets() -> QuerySet:
    """Cabinets that may want a label: those we still own."""
    return Machine.objects.exclude(status__in=GONE).select_related("model")


def labels_in_use() -> QuerySet:
    """The labels of cabinets we still own, by the cabinet's code."""
    return (
        Label.objects.live()
        .exclude(machine__status__in=GONE)
        .select_related("machine__model", "by")
        .order_by("machine__code")
    )


def labels_found(text: str) -> QuerySet:
    """Labels in use by words of the cabinet, its model or the label's code, which may be typed as it is printed."""
    rows, code = labels_in_use(), rules.bare(text)
    found = matching(rows, text, ("machine__code", "machine__model__name", "code"))
    return found | rows.filter(code__contains=code) if code else found


def scanned(code: str) -> str:
    return rules.scanned_address(settings.PUBLIC_URL, code)


def modules_on_a_side() -> int:
    """How large the symbols of this installation are: every code has the same length."""
    return len(rules_symbol.matrix(scanned(rules.ALPHABET[0] * rules.LENGTH)))
