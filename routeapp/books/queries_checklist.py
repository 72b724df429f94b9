"""What should be settled before a month is closed, and the months themselves."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import QuerySet
from django.utils import timezone

from routeapp.books.models import MonthClose
from routeapp.books.queries_worked import first_month
from routeapp.books.rules import month_after
from routeapp.cards.queries import waiting
from routeapp.cash.models_bank import BankRow
from routeapp.cash.queries import uncounted_bags
from routeapp.cash.queries_bank import unmatched_events, unmatched_rows
from routeapp.earnings.queries import Book, book
from routeapp.earnings.rules import Span
from routeapp.kit import clock
from routeapp.settlements.queries_drafts import due
from routeapp.stock.queries import not_told
from routeapp.visits.queries_late import doubts


@dataclass(frozen=True)
class Point:
    """One point of the checklist: how many are open, in words, and the page (an address name) to deal with them."""

    what: str
    many: int
    to: str
    named: str = ""  # the first of them

    @property
    def words(self) -> str:
        return f"{self.what}: {self.many}"


def closes() -> QuerySet:
    """Every closing of a month, also those that were opened again; the newest first."""
    return MonthClose.objects.select_related("by", "withdrawn_by").order_by("-received_at", "-pk")


def newest() -> MonthClose | None:
    return MonthClose.objects.live().order_by("-month").first()


def next_to_close() -> date | None:
    """The month after the last one that is closed; the first with a fact in it while none is."""
    last = newest()
    return month_after(last.month) if last else first_month()


def is_over(month: date, today: date) -> bool:
    return month_after(month) <= today


def checklist(month: date, now: datetime) -> list[Point]:
    """All points of a month, those that are settled with none open. Everything before its end counts."""
    return list(_points(month, now))


def _points(month: date, now: datetime) -> Iterator[Point]:
    last = month_after(month) - timedelta(days=1)
    end = clock.start_of_day(month_after(month), timezone.get_current_timezone_name())
    bags = list(uncounted_bags().filter(at__lt=end))
    yield Point("Sealed bags nobody counted", len(bags), "cash", ", ".join(str(bag) for bag in bags[:3]))
    drafts = [one for one in due(now) if one.stretch.until <= last]
    yield Point(
        "Settlements not issued", len(drafts), "settlements", ", ".join(str(one.location) for one in drafts[:3])
    )
    if BankRow.objects.live().exists():
        yield Point("Rows of the bank nobody matched", unmatched_rows().filter(day__lte=last).count(), "bank")
        unseen = [one for one in unmatched_events() if one.day <= last]
        yield Point("In the books, not on a statement", len(unseen), "bank", ", ".join(one.what for one in unseen[:3]))
    lost = waiting().filter(at__lt=end).count()
    if lost:
        yield Point("Card sales of a cabinet nobody knows", lost, "cards")
    found = book(Span(month, last))
    unread, uncounted = _unread(found), _uncounted(found, month, end)
    yield Point("Cabinets without a reading", len(unread), "cabinets", ", ".join(unread[:3]))
    yield Point(
        "Cabinets with prizes neither counted nor metered", len(uncounted), "cabinets", ", ".join(uncounted[:3])
    )
    yield Point("Visits whose times are in doubt", len(doubts()), "today")


def _unread(found: Book) -> list[str]:
    """Cabinets that stood somewhere in these days and whose meters nobody read."""
    read = {line.machine for line in found.lines if line.read}
    standing = [pk for pk, stays in found.stays.items() if stays and pk not in read]
    return sorted(found.machines[pk].code for pk in standing)


def _uncounted(found: Book, month: date, end: datetime) -> list[str]:
    """Cabinets that stood somewhere in a month and of which no count and no meter tells what players won."""
    standing = [pk for pk, stays in found.stays.items() if stays]
    begin = clock.start_of_day(month, timezone.get_current_timezone_name())
    return sorted(found.machines[pk].code for pk in not_told(standing, begin, end))
