"""The journal: every fact of money as an entry of two accounts, read in order and never held all at once."""

import heapq
from collections.abc import Iterator, Mapping
from datetime import date, timedelta

from django.db.models import F, Value
from django.db.models.functions import Coalesce

from locations.sites.models import Location
from locations.taxes.models import Jurisdiction
from machines.cabinets.models import Machine
from routeapp.books import rules_accounts as names
from routeapp.books.models import MonthClose
from routeapp.books.queries_worked import Sums, by_month
from routeapp.books.rules import Calendar, Closing, Entry, entry, month_after
from routeapp.books.rules_accounts import Chart
from routeapp.cash.models import CashMove, Purse
from routeapp.expenses.models import Expense
from routeapp.settlements.models import Settlement

CHUNK = 2000
WORDS = {purse.value: purse.label.lower() for purse in Purse}


def chart() -> Chart:
    machines = names.parts(dict(Machine.objects.order_by().values_list("pk", "code")))
    locations = names.parts(dict(Location.objects.order_by().values_list("pk", "name")))
    return Chart(machines, locations, tuple(Jurisdiction.objects.order_by("name").values_list("name", flat=True)))


def calendar() -> Calendar:
    rows = MonthClose.objects.order_by().values_list("month", "received_at", "withdrawn_at")
    return Calendar(Closing(*row) for row in rows)


def journal(until: date, book: Chart | None = None) -> Iterator[Entry]:
    """All entries that happened up to `until`, in the order of the days they happened on."""
    book, days = book or chart(), calendar()
    worked_out = by_month(until, book)  # at once: by the time a file is read, the request's time zone is forgotten
    streams = (_moves(until, book, days), _settlements(until, book, days), _worked_out(until, worked_out))
    return heapq.merge(*streams, key=lambda one: one.happened)


ENDS = ("from_purse", "to_purse", "machine", "location", "source")
MOVE = ("pk", "day", "received_at", *ENDS, "cents", "reason", "bag_number")


def _moves(until: date, book: Chart, days: Calendar) -> Iterator[Entry]:
    spent = dict(Expense.objects.order_by().values_list("uuid", "category"))
    # This order is that of an index, so that the database hands out the first row without sorting all.
    rows = CashMove.objects.filter(day__lte=until).order_by("day", "from_purse", "to_purse", "pk")
    rows = rows.annotate(bag_number=Coalesce(F("bag__number"), Value(""))).values_list(*MOVE)
    for pk, day, received, from_purse, to_purse, machine, location, source, cents, reason, bag in rows.iterator(CHUNK):
        where = (machine, location, spent.get(source, ""))
        yield Entry(
            number=f"M{pk}",
            day=days.day(day, received),
            happened=day,
            debit=book.of(to_purse, *where),
            credit=book.of(from_purse, *where),
            cents=cents,
            words=_words(from_purse, to_purse, bag, reason),
        )


def _words(from_purse: str, to_purse: str, bag: str, reason: str) -> str:
    return f"{WORDS[from_purse]} to {WORDS[to_purse]}{f', bag {bag}' if bag else ''}{f': {reason}' if reason else ''}"


SETTLEMENT = ("number", "pk", "until", "received_at", "withdrawn_at", "location", "cents")


def _settlements(until: date, book: Chart, days: Calendar) -> Iterator[Entry]:
    """What hosts get, by the last day it is for; a void one is taken back on that day, or later if it is closed."""
    rows = Settlement.objects.filter(until__lte=until).exclude(cents=0).order_by("until", "pk")
    for number, pk, day, issued, void, location, cents in rows.values_list(*SETTLEMENT).iterator(CHUNK):
        debit, credit = book.share(location)
        if number is None:  # all that was settled before these books
            debit = names.BEFORE
        words = f"Settlement {number}" if number else "Settled before"
        yield entry(f"S{pk}", days.day(day, issued), day, debit, credit, cents, words)
        if void:
            yield entry(f"S{pk}-void", days.day(day, void), day, debit, credit, -cents, f"{words} is void")


def _worked_out(until: date, found: Mapping[date, Sums]) -> Iterator[Entry]:
    """On the last day of each month, or on `until`."""
    for month, sums in sorted(found.items()):
        last = month_after(month) - timedelta(days=1)
        day = month if month > until else min(last, until)
        for (debit, credit), cents in sorted(sums.items()):
            if cents:
                number = f"W{month:%Y%m}-{debit.rpartition(':')[2]}-{credit.rpartition(':')[2]}"
                yield entry(number, day, day, debit, credit, cents, f"Worked out for {month:%B %Y}")
