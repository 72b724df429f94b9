"""The journal as a file: a million entries sent with flat memory, against reading the same rows bare."""

import time
from collections.abc import Iterable, Iterator
from typing import Any

from django.db import connection

from routeapp.books import rules
from routeapp.books.queries_journal import chart, journal
from routeapp.kit import clock, sheets
from routeapp.models import CashMove
from tests.bench import growth_load
from tests.bench.memory import forget_peak, held_mb, peak_mb

ENTRIES = 1_000_000
PER_ENTRY = 2.26  # moves of money a service entry brings: out of the cabinet, into the bag, and its part of a deposit
LIMIT_MB = 200
UNTIL = clock.now().date()


def run(*more: str) -> Iterator[dict[str, Any]]:
    """How much memory a tenth takes, and all of it: the process may not grow with the number of entries."""
    world = growth_load.make_business()
    for entries in (ENTRIES // 10, int(more[0]) if more else ENTRIES):
        growth_load.fill_money(world, int(entries / PER_ENTRY))
        moves = CashMove.objects.count()
        bare, _ = sent(plain_rows())
        for case, lines in files():
            forget_peak()  # filling the tables took far more than reading them
            before = held_mb()
            seconds, size = sent(lines)
            yield {
                "case": case,
                "entries": moves,
                "seconds": round(seconds, 1),
                "ratio": round(seconds / bare, 1),
                "mb": round(size / 1e6),
                "peak_mb": peak_mb(),
                "grew_mb": peak_mb() - before,
                "limit_mb": LIMIT_MB,
            }


def files() -> Iterator[tuple[str, Iterable[str]]]:
    yield "csv", sheets.lines(rules.rows(journal(UNTIL), "USD"))
    accounts = chart()
    yield "ledger", rules.ledger(journal(UNTIL, accounts), accounts.all(), "Bench", "USD")


def plain_rows() -> Iterator[str]:
    """The rows alone, each written out as it is."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {CashMove._meta.db_table} ORDER BY day")
        while rows := cursor.fetchmany(2000):
            yield from (f"{row}\n" for row in rows)


def sent(lines: Iterable[str]) -> tuple[float, int]:
    """Seconds and bytes of a file that nobody keeps."""
    start = time.perf_counter()
    size = sum(len(line.encode()) for line in lines)
    return time.perf_counter() - start, size
