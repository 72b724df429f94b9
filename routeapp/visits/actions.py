"""Recording a visit: one document, one transaction, the same result in whatever order documents arrive."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from machines.cabinets.models import Reading, SettingsChange
from machines.faults.models import Fault, FaultFix
from routeapp.cash import actions as cash
from routeapp.cash.models import Bag, CashMove, Sealed
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.stock import actions as stock
from routeapp.visits import actions_writing as writing
from routeapp.visits import rules_document as paper
from routeapp.visits.actions_references import References, look_up
from routeapp.visits.models import Visit


class Clash(Refused):
    """The id of this document belongs to another one already."""


@transaction.atomic
def record_visit(
    *, document: paper.Document, photos: Mapping[UUID, bytes], by: Any, at: datetime
) -> tuple[Visit, bool]:
    """Record one stop, or answer with what it made when it came before: (visit, whether it is new).

    `photos` are cleaned JPEGs by the ids the document names; `at` is when it was received. A document that
    `replaces` another withdraws what that one brought; either may arrive first. Refuses unknown cabinets, meters,
    prizes, sums that do not add up, and a second correction of one visit; raises Clash for a used id with
    another content.
    """
    lock(document.id, document.replaces or document.id)
    found, later = _same_and_later(document)
    if found:
        if found.fingerprint != paper.fingerprint(document) or found.by_id != by.pk:
            raise Clash(
                "Another visit was sent under this id. Both are kept: this one stays with you until you decide."
            )
        return found, False
    known = look_up(document, by, at)
    replaced = _replaced(document)
    if replaced:
        _withdraw(replaced, by, at)
    visit = _write(document, photos, known, later is None, by, at)
    if later:
        _withdraw(visit, later.by, later.received_at)
    audit.record(_verb(document), visit, by=by, at=at)
    return visit, True


def _same_and_later(document: paper.Document) -> tuple[Visit | None, Visit | None]:
    """The visit of this id when it came before, and the one that corrects it when that was quicker."""
    visits = list(Visit.objects.filter(Q(pk=document.id) | Q(replaces=document.id)))
    same = next((one for one in visits if one.pk == document.id), None)
    return same, next((one for one in visits if one.replaces == document.id), None)


def _verb(document: paper.Document) -> str:
    if document.void:
        return "withdrew a visit"
    return "corrected a visit" if document.replaces else "logged a visit"


def _replaced(document: paper.Document) -> Visit | None:
    """The visit this one corrects, if it has arrived. Refuses when somebody corrected it before."""
    if document.replaces is None:
        return None
    if other := Visit.objects.filter(replaces=document.replaces).select_related("by").first():
        name = other.by.get_full_name() or other.by.username
        raise Refused(f"{name} corrected this visit already. Open the corrected one and correct that.", "replaces")
    return Visit.objects.select_for_update().filter(pk=document.replaces).first()


def _write(
    document: paper.Document, photos: Mapping[UUID, bytes], known: References, newest: bool, by: Any, at: datetime
) -> Visit:
    visit = writing.write_visit(document, known, by, at)
    bags = writing.bags_for(document, known, newest, by, at)
    writing.write_entries(visit, document, bags)
    writing.write_readings(document, known, by, at)
    writing.write_cash(visit, document, bags, by, at)
    writing.write_stock(document, known, by, at)
    for part in document.entries:
        writing.write_settings_and_faults(part, document, known, by, at)
        writing.write_photos(part, photos)
    return visit


def _withdraw(visit: Visit, by: Any, at: datetime) -> None:
    """Withdraw what a visit brought and reverse what it moved. What it said stays readable."""
    entries = list(visit.entries.values_list("pk", flat=True))
    Visit.objects.filter(pk=visit.pk).update(withdrawn_at=at, withdrawn_by=by)
    visit.entries.update(withdrawn_at=at)
    for fact in (Reading, SettingsChange, Fault, FaultFix):
        fact.objects.withdraw(sources=entries, by=by, at=at)
    stock.take_back(sources=entries, by=by, at=at)
    cash.take_back(sources=[visit.pk, *entries], by=by, at=at)
    Sealed.objects.withdraw(sources=entries, by=by, at=at)
    moved = CashMove.objects.filter(source__in=[visit.pk, *entries]).values("bag")
    sealed = Sealed.objects.filter(source__in=entries).values("bag")
    cash.settle_bags(bags=Bag.objects.filter(Q(pk__in=moved) | Q(pk__in=sealed)), by=by, at=at)
