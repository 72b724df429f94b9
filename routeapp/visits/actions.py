"""Recording a visit: one document, one transaction, the same result in whatever order documents arrive."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from machines.cabinets.actions import withdraw_status
from machines.cabinets.models import Reading, SettingsChange, StatusChange
from machines.faults.models import Fault, FaultFix
from routeapp.cash import actions as cash
from routeapp.cash.models import Bag, CashMove, Sealed
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.people import called
from routeapp.kit.prepared import Prepared
from routeapp.stock import actions as stock
from routeapp.visits import actions_writing as writing
from routeapp.visits import queries_questions
from routeapp.visits import rules_document as paper
from routeapp.visits.actions_references import References, check, check_ids, look_up
from routeapp.visits.actions_writing import Paper
from routeapp.visits.models import Visit


class Clash(Refused):
    """The id of this document belongs to another one already."""


class Recorded(NamedTuple):
    """The visit in the books, whether it is new, and what there is to ask about it."""

    visit: Visit
    made: bool
    questions: dict[str, str]


@transaction.atomic
def record_visit(
    *,
    document: paper.Document,
    photos: Mapping[UUID, bytes],
    by: Any,
    at: datetime,
    device_at: datetime | None = None,
    ask: bool = False,
) -> Recorded:
    """Record one stop, or answer with what it made when it came before.

    `photos` are cleaned JPEGs by the ids the document names; `at` is when it was received, `device_at` what the
    phone's clock showed when it sent it. With `ask` it is told what is unusual about a new one. A document that
    `replaces` another withdraws what that one brought; either may arrive first. Refuses unknown cabinets, meters,
    prizes, sums that do not add up, and a second correction of one visit; raises Clash for a used id with another
    content.
    """
    lock(*_ids([document]), *(part.id for part in document.entries), *document.photos())
    found = _called([document])
    if document.id in found:
        return Recorded(_same(found[document.id], document, by), False, {})
    later = next((visit for visit in found.values() if visit.replaces == document.id), None)
    replaced = _replaced(document)
    made_by = replaced.made_by_id if replaced else by.pk
    papers = [Paper(document, photos, made_by, later is None, device_at)]
    known = _known(papers, by, at)
    questions = queries_questions.questions(document, known.meters) if ask else {}
    if replaced:
        _hold_bags(replaced, document)
        _withdraw(replaced, by, at)
    (visit,) = _write(papers, known, by, at)
    if later:
        _withdraw(visit, later.by, later.received_at)
        _say_who_made(later, made_by)
    audit.record(_verb(document), visit, by=by, at=at)
    return Recorded(visit, True, questions)


@transaction.atomic
def record_visits(*, documents: Sequence[paper.Document], by: Any, at: datetime) -> list[Visit]:
    """Record many past stops without photos, as `record_visit` does one by one, in a fraction of its time.

    Gives those that are new. Refuses what `record_visit` refuses, and corrections, which come one by one.
    """
    lock(*_ids(documents))
    found = _called(documents)
    for document in documents:
        if document.id in found:
            _same(found[document.id], document, by)
    later = {visit.replaces for visit in found.values()}
    if any(document.replaces or document.id in later for document in documents):
        raise Refused("A correction is recorded by itself.", "replaces")
    papers = [Paper(document, {}, by.pk) for document in documents if document.id not in found]
    visits = _write(papers, _known(papers, by, at), by, at)
    audit.record_all("logged a visit", visits, by=by, at=at)
    return visits


def _ids(documents: Iterable[paper.Document]) -> set[UUID]:
    """What no other submission may touch meanwhile."""
    found: set[UUID] = set()
    for document in documents:
        found |= {document.id, document.replaces or document.id, *(bag.id for bag in document.bags())}
    return found


def _called(documents: Sequence[paper.Document]) -> dict[UUID, Visit]:
    """Visits of these ids that came before, and those that correct them because that was quicker."""
    ids = [document.id for document in documents]
    return {visit.pk: visit for visit in _visits_called(ids, ids)}


_visits_called = Prepared(
    lambda ids, same: Visit.objects.filter(Q(pk__in=ids) | Q(replaces__in=same)).order_by(), list, list
)


def _same(found: Visit, document: paper.Document, by: Any) -> Visit:
    if found.fingerprint != paper.fingerprint(document) or found.by_id != by.pk:
        raise Clash("Another visit was sent under this id. Both are kept: this one stays with you until you decide.")
    return found


def _verb(document: paper.Document) -> str:
    if document.void:
        return "withdrew a visit"
    return "corrected a visit" if document.replaces else "logged a visit"


def _replaced(document: paper.Document) -> Visit | None:
    """The visit this one corrects, if it has arrived. Refuses when somebody corrected it before, and a circle."""
    if document.replaces is None:
        return None
    if other := Visit.objects.filter(replaces=document.replaces).select_related("by").first():
        raise Refused(
            f"{called(other.by)} corrected this visit already. Open the corrected one and correct that.", "replaces"
        )
    replaced = link = Visit.objects.select_for_update().filter(pk=document.replaces).first()
    while link and link.replaces:
        if link.replaces == document.id:
            raise Refused("That visit says that it corrects this one. Enter what happened as a new visit.", "replaces")
        link = Visit.objects.filter(pk=link.replaces).first()
    return replaced


def _known(papers: Sequence[Paper], by: Any, at: datetime) -> References:
    """What these documents name. Refuses what is not there or does not fit together."""
    documents = [one.document for one in papers]
    check_ids(documents)
    known = look_up(documents, by)
    for one in papers:
        check(one.document, known, max(at, one.device_at or at))
    return known


def _write(papers: Sequence[Paper], known: References, by: Any, at: datetime) -> list[Visit]:
    visits = writing.write_visits(papers, by, at)
    bags, older = writing.write_bags(papers, by, at)
    writing.write_entries(papers, bags)
    writing.write_readings(papers, known, by, at)
    writing.write_cash(papers, known, bags, by, at)
    cash.settle_bags(bags=older, by=by, at=at)
    writing.write_stock(papers, known, by, at)
    for one in papers:
        for part in one.document.entries:
            writing.write_settings_and_faults(part, one.document, known, by, at)
            writing.write_photos(part, one.photos)
        writing.write_signature(one.document, one.photos)
    return visits


def _say_who_made(correction: Visit | None, made_by: int) -> None:
    """Corrections that came before what they correct took whoever wrote them for who was there."""
    while correction:
        Visit.objects.filter(pk=correction.pk).update(made_by=made_by)
        Bag.objects.filter(entries__visit=correction).update(by=made_by)
        correction = Visit.objects.filter(replaces=correction.pk).first()


def _hold_bags(replaced: Visit, document: paper.Document) -> None:
    """Lock the bags of both versions at once and by number, as everybody does: taken one version after the other, two
    corrections that swap their bags would wait for each other."""
    named = Q(uuid__in=[bag.id for bag in document.bags()])
    list(Bag.objects.select_for_update().filter(named | _filled_by(replaced)).order_by("pk"))


def _filled_by(visit: Visit) -> Q:
    """The bags that money of a visit went into."""
    entries = list(visit.entries.values_list("pk", flat=True))
    moved = CashMove.objects.filter(source__in=[visit.pk, *entries]).values("bag")
    return Q(pk__in=moved) | Q(pk__in=Sealed.objects.filter(source__in=entries).values("bag"))


def _withdraw(visit: Visit, by: Any, at: datetime) -> None:
    """Withdraw what a visit brought and reverse what it moved. What it said stays readable.

    Bags, then prizes, then cabinets are locked, as in _write: nobody waits for who waits for them.
    """
    entries = list(visit.entries.values_list("pk", flat=True))
    Visit.objects.filter(pk=visit.pk).update(withdrawn_at=at, withdrawn_by=by)
    visit.entries.update(withdrawn_at=at)
    for fact in (Reading, SettingsChange, Fault, FaultFix):
        fact.objects.withdraw(sources=entries, by=by, at=at)
    cash.take_back(sources=[visit.pk, *entries], by=by, at=at)
    Sealed.objects.withdraw(sources=entries, by=by, at=at)
    cash.settle_bags(bags=Bag.objects.filter(_filled_by(visit)), by=by, at=at)
    stock.take_back(sources=entries, by=by, at=at)
    for change in StatusChange.objects.live().filter(source__in=entries):
        withdraw_status(change=change, by=by, at=at)
