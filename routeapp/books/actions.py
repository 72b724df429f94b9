"""Months closed, and opened again with a reason."""

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from routeapp.books import queries_checklist as queries
from routeapp.books.models import MonthClose
from routeapp.books.queries_journal import chart
from routeapp.books.queries_worked import as_figures, by_month
from routeapp.cards.models import CardStatement
from routeapp.cash.models_bank import Statement
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.settlements.models import SettlementRun


@transaction.atomic
def close_month(*, month: date, note: str, by: Any, at: datetime) -> MonthClose:
    """From now on what is learned of this month is booked in the next one; the same month again changes nothing.

    Refuses a month that is not over, one that is not the next, open points of the checklist without a note, and while
    statements or settlements are being written.
    """
    lock("months")
    if known := MonthClose.objects.live().filter(month=month).first():
        return known
    if month != queries.next_to_close():
        raise Refused("Months are closed one after the other. Close the one before it first.")
    if not queries.is_over(month, timezone.localdate(at)):
        raise Refused(f"{month:%B %Y} is not over yet.")
    left = [point.words for point in queries.checklist(month, at) if point.many]
    if left and not note:
        raise Refused(
            "Points of the checklist are open. Settle them, or say why the month is closed all the same.", "note"
        )
    if busy := _at_work(at):
        raise Refused(f"{busy[0]}: this is still being written down. Close the month when it is through.")
    figures = as_figures(by_month(month, chart())[month])
    facts = {"by": by, "at": at, "received_at": at}
    made = MonthClose.objects.create(month=month, left=left, note=note, figures=figures, **facts)
    audit.record("closed", made, by=by, at=at)
    return made


def _at_work(at: datetime) -> list[Any]:
    """What goes on by itself. It is booked by the moment at which it was begun, which would be before the closing."""
    files = [one for kind in (Statement, CardStatement) for one in kind.objects.exclude(work="") if one.is_at_work]
    return files + [one for one in SettlementRun.objects.filter(ended_at=None) if one.is_at_work(at)]


@transaction.atomic
def reopen_month(*, close: MonthClose, reason: str, by: Any, at: datetime) -> None:
    """Open the last closed month again; does nothing when it is open. Refuses another month, and no reason."""
    lock("months")
    if not reason:
        raise Refused("Say why this month is opened again.", "reason")
    last = queries.newest()
    if last is None or close.withdrawn_at:
        return
    if last.pk != close.pk:
        raise Refused(f"Only the last closed month can be opened again, {last}.")
    if MonthClose.objects.live().filter(pk=close.pk).update(withdrawn_at=at, withdrawn_by=by, reason=reason):
        audit.record("opened again", close, by=by, at=at)
