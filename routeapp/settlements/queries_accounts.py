"""What was issued and paid between us and hosts, line after line with what was owed then."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef

from locations.hosts.models import Host
from locations.sites.models import Location
from routeapp.settlements import queries
from routeapp.settlements.models import Remittance, Settlement
from routeapp.settlements.queries_paper import paid_of
from routeapp.settlements.rules import spoken_days


def accounts(host: Host | None = None) -> list[Any]:
    """Locations with `issued_cents`, `paid_cents` and `owed_cents`; those with none of it only of one `host`."""
    rows = Location.objects.select_related("host").order_by("name")
    if host is None:
        issued = Settlement.objects.filter(location=OuterRef("pk"))
        rows = rows.filter(Exists(issued) | Exists(queries.host_moves().filter(location=OuterRef("pk"))))
    else:
        rows = rows.filter(host=host)
    found = list(rows)
    ids = [one.pk for one in found]
    issued_sums, paid = queries.issued_cents(ids), queries.paid_cents(ids)
    for one in found:
        one.issued_cents, one.paid_cents = issued_sums.get(one.pk, 0), paid.get(one.pk, 0)
        one.owed_cents = one.issued_cents - one.paid_cents
    return found


@dataclass(frozen=True)
class Entry:
    """One line of an account: a paper or a payment, and what was owed after it."""

    day: date
    words: str
    cents: int  # above zero: owed more
    balance: int
    settlement: Settlement | None = None
    payment: Remittance | None = None
    visit: Any = None


def account(location: Location) -> list[Entry]:
    """All papers that hold and all payments of a location, the newest first."""
    papers = queries.live().filter(location=location)
    payments = {row.uuid: row for row in Remittance.objects.live().filter(location=location)}
    lines: list[tuple[date, int, str, int, dict[str, Any]]] = []
    for one in papers:
        words = "Settled before" if one.number is None else f"{one}, {spoken_days(one.since, one.until)}"
        lines.append((one.until, 0, words, one.cents, {"settlement": one if one.number else None}))
    for paid in paid_of(list(queries.host_moves().filter(location=location).order_by("day", "pk"))):
        source = paid.move.source
        at_visit = source if paid.move.from_purse == "bag" and source not in payments else None
        lines.append((paid.move.day, 1, paid.words, -paid.cents, {"payment": payments.get(source), "visit": at_visit}))
    return _with_balance(sorted(lines, key=lambda line: line[:2]))


def _with_balance(lines: Iterable[tuple[date, int, str, int, dict[str, Any]]]) -> list[Entry]:
    found: list[Entry] = []
    balance = 0
    for day, _, words, cents, more in lines:
        balance += cents
        found.append(Entry(day, words, cents, balance, **more))
    return found[::-1]
