"""Which reader was in which cabinet, what the processor still holds, and what was paid by card."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, Max, Min, OuterRef, Prefetch, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from locations.placements.models import Placement
from locations.placements.queries import placements_of, standing
from routeapp.cards.models import CardMatch, CardRow, CardStatement, ReaderMove
from routeapp.cards.rules import Parts
from routeapp.cash.models import CashMove, Purse
from routeapp.cash.queries import in_and_out
from routeapp.kit import clock
from routeapp.kit.prepared import Prepared

PAYOUT = Parts._fields.index("payout")


def readers() -> QuerySet:
    """Every reader where it is now: the newest live move of each, by serial number."""
    newer = ReaderMove.objects.live().filter(serial=OuterRef("serial"), at__gt=OuterRef("at"))
    live = ReaderMove.objects.live().filter(~Exists(newer))
    return live.select_related("machine__model", "by").order_by("serial")


def moves_of(serial: str) -> QuerySet:
    """Everything that was said about one reader, the latest first."""
    return ReaderMove.objects.filter(serial=serial).select_related("machine", "by", "withdrawn_by")


def statements() -> QuerySet:
    """The newest first, with what they brought: `many` rows and what was `sold`."""
    live = CardRow.objects.live().filter(statement=OuterRef("pk")).order_by().values("statement")
    sums = {"many": Count("pk"), "sold": Sum("sale_cents")}
    parts = {name: Coalesce(Subquery(live.annotate(all=each).values("all")), 0) for name, each in sums.items()}
    return CardStatement.objects.select_related("by", "withdrawn_by").annotate(**parts)


def said_before(signature: str, besides: Any) -> dict[str, Any]:
    """What was said about the last statement with the same headings; empty when there is none."""
    older = CardStatement.objects.filter(signature=signature).exclude(pk=besides).exclude(said={})
    return older.values_list("said", flat=True).first() or {}


def known_until() -> datetime | None:
    """The moment until which statements tell of card sales."""
    brought = CardStatement.objects.filter(brought_at__isnull=False, withdrawn_at=None)
    return brought.aggregate(last=Max("until"))["last"]


def held_by_processor() -> int:
    """What players paid by card less fees, refunds and payouts; below zero where sales are missing or not matched."""
    return CashMove.objects.aggregate(all=in_and_out(Purse.CARDS))["all"]


def tells_of_payouts() -> bool:
    """Whether any statement does, by the sums that its check found: statements are few and rows many."""
    brought = CardStatement.objects.filter(brought_at__isnull=False, withdrawn_at=None)
    return brought.filter(**{f"found__sums__{PAYOUT}__gt": 0}).exists()


def live_rows() -> QuerySet:
    """Each with its statement, but not what a check found in that; statements are few and rows many."""
    return CardRow.objects.live().prefetch_related(Prefetch("statement", CardStatement.objects.defer("found")))


def waiting() -> QuerySet:
    """Live rows with a sale that moved no money yet, because nobody knows the cabinet."""
    return live_rows().filter(waits=True)


def astray() -> QuerySet:
    """Live rows whose sale counts where their cabinet did not stand then: its end there was told later, or that it
    never stood there. What was said by hand stays."""
    there = standing(OuterRef("at")).filter(machine=OuterRef("machine"), location=OuterRef("location"))
    sales = CashMove.objects.standing().filter(from_purse=Purse.PLAYERS, to_purse=Purse.CARDS)
    by_hand = CardMatch.objects.live().filter(row=OuterRef("pk"))
    return live_rows().filter(~Exists(by_hand), uuid__in=sales.filter(~Exists(there)).values("source"))


def waiting_by_reader() -> list[dict[str, Any]]:
    """Serial number, how `many` rows, their `cents`, the `first` and the `last` of them."""
    sums = {"many": Count("pk"), "cents": Sum("sale_cents"), "first": Min("at"), "last": Max("at")}
    return list(waiting().order_by("serial").values("serial").annotate(**sums))


@dataclass(frozen=True)
class Spot:
    """Where a sale was made: the cabinet, its location and the day there."""

    machine: int
    location: int
    day: date


class Whereabouts:
    """Where readers and their cabinets were, for any number of rows in constant queries."""

    def __init__(self, serials: Iterable[str]) -> None:
        self._moves: dict[str, list[tuple[datetime, int | None]]] = defaultdict(list)
        rows = moves_of_readers(sorted(set(serials)))
        for serial, at, machine in rows:
            self._moves[serial].append((at, machine))
        self._stays = placements_of({machine for _, _, machine in rows if machine})

    def cabinet(self, serial: str, at: datetime) -> int | None:
        moves = self._moves.get(serial, [])
        place = bisect_right(moves, at, key=lambda move: move[0])
        return moves[place - 1][1] if place else None

    def stay(self, machine: int, at: datetime) -> Placement | None:
        stays = self._stays.get(machine, [])
        place = bisect_right(stays, at, key=lambda stay: stay.started_at)
        stay = stays[place - 1] if place else None
        return stay if stay and (stay.ended_at is None or at < stay.ended_at) else None

    def spot(self, serial: str, at: datetime) -> Spot | None:
        machine = self.cabinet(serial, at)
        stay = self.stay(machine, at) if machine else None
        return spot_of(stay, at) if stay else None


def spot_of(stay: Placement, at: datetime) -> Spot:
    return Spot(stay.machine_id, stay.location_id, clock.local_day(at, stay.location.time_zone))


moves_of_readers = Prepared(
    lambda serials: (
        ReaderMove.objects.filter(withdrawn_at=None, serial__in=serials)
        .order_by("at", "pk")
        .values_list("serial", "at", "machine_id")
    ),
    list[str],
)


def spots_by_hand(rows: Iterable[CardRow]) -> dict[UUID, Spot]:
    """What was said by hand about these rows, by their ids."""
    by_number = {row.pk: row for row in rows}
    return {
        by_number[row].uuid: Spot(machine, location, clock.local_day(by_number[row].at, zone))
        for row, machine, location, zone in _matches(list(by_number))
    }


_matches = Prepared(
    lambda rows: (
        CardMatch.objects.filter(withdrawn_at=None, row__in=rows)
        .order_by()
        .values_list("row_id", "machine_id", "location_id", "location__time_zone")
    ),
    list,
)
standing_moves = Prepared(lambda sources: CashMove.objects.standing().filter(source__in=sources).order_by(), list)
