"""The bank's rows beside our moves of money: what belongs together, and what nobody found the other side of."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from django.db.models import Exists, F, Min, OuterRef, Q, QuerySet, Subquery

from routeapp.cash import rules_bank, rules_statement
from routeapp.cash.models import CashMove, Purse
from routeapp.cash.models_bank import BankRow, Deposit, How, Matched, Statement
from routeapp.cash.rules_bank import Side
from routeapp.cash.rules_statement import VOCABULARY
from routeapp.kit.prepared import Prepared
from routeapp.kit.progress import Tell
from routeapp.kit.reading.forms import from_kept
from routeapp.kit.reading.statement import Look, look

ASKED_AFTER = timedelta(days=14)  # before the first row of any statement
MATCHED_BY_HAND = timedelta(days=90)
CANDIDATES = 30


def looked_at(statement: Statement) -> Look:
    """Raises Unreadable."""
    return look(Path(statement.file.path), statement.name, VOCABULARY)


def rows_in(statement: Statement, said: dict[str, Any], told: Tell) -> rules_statement.Found:
    """What a statement says, read as a person told. Raises Unreadable."""
    return rules_statement.rows_of(looked_at(statement).sheet, from_kept(said), said.get("ways", {}), told)


def remembered(statement: Statement) -> Statement | None:
    """The newest earlier statement with the same headings, whose columns a person told."""
    alike = Statement.objects.live().filter(signature=statement.signature).exclude(said={})
    return alike.exclude(pk=statement.pk).order_by("-received_at", "-pk").first() if statement.signature else None


def statements() -> QuerySet:
    return Statement.objects.select_related("by", "withdrawn_by")


def rows() -> QuerySet:
    """Every row of the bank, each with `how` it was matched; None while it was not."""
    matched = Matched.objects.live().filter(row=OuterRef("pk"))
    return (
        BankRow.objects.live()
        .select_related("statement")
        .annotate(how=Subquery(matched.values("how")[:1]), match=Subquery(matched.values("source")[:1]))
    )


def unmatched_rows() -> QuerySet:
    return rows().filter(how=None).order_by("-day", "-pk")


def unmatched_sides() -> list[Side]:
    taken = Matched.objects.live().filter(row=OuterRef("pk"))
    found = BankRow.objects.live().filter(~Exists(taken)).order_by("-day", "-pk")
    return [Side(*row) for row in found.values_list("pk", "day", "cents")]


@dataclass(frozen=True)
class Event:
    """What our books say the bank moved at once: a deposit of bags, a host paid, a payout. `cents` above zero: in.

    `key` names it in an address: the id of its document, or of its move where it has none.
    """

    key: str
    day: date
    at: datetime
    cents: int
    what: str
    moves: tuple[int, ...]
    deposit: UUID | None = None

    @property
    def side(self) -> Side:
        return Side(self.key, self.day, self.cents)


FIELDS = ("pk", "source", "from_purse", "to_purse", "cents", "day", "at", "location__name", "reason")


def bank_moves() -> QuerySet:
    """Moves into and out of the bank that hold and that no row is matched to."""
    taken = Matched.objects.live().filter(move=OuterRef("pk"))
    of_bank = CashMove.objects.standing().filter(Q(from_purse=Purse.BANK) | Q(to_purse=Purse.BANK))
    return of_bank.filter(~Exists(taken))


def are_matched(moves: QuerySet) -> bool:
    """Whether a row of the bank is matched to one of these moves, which that match did not bring itself."""
    return Matched.objects.live().filter(move__in=moves).exclude(source=F("move__source")).exists()


def moved_near(row: BankRow, from_purse: str, to_purse: str) -> QuerySet:
    """Unmatched moves of a row's very amount around its day."""
    days = row.day - timedelta(days=rules_bank.NEAR_AFTER), row.day + timedelta(days=rules_bank.NEAR_BEFORE)
    return bank_moves().filter(from_purse=from_purse, to_purse=to_purse, cents=abs(row.cents), day__range=days)


def booked_payouts(first: date, last: date) -> list[tuple[date, int]]:
    """Day and amount of what was booked from the bank's own row as a payout of a card processor, of whose rows
    between two days they may be."""
    days = first - timedelta(days=rules_bank.NEAR_BEFORE), last + timedelta(days=rules_bank.NEAR_AFTER)
    booked = Matched.objects.live().filter(how=How.BOOKED, move__from_purse=Purse.CARDS, move__to_purse=Purse.BANK)
    return list(booked.filter(move__day__range=days).order_by("move__day").values_list("move__day", "move__cents"))


def unmatched_events(before: timedelta = ASKED_AFTER) -> list[Event]:
    """Since the first statement begins, and some days `before`; the newest first."""
    first = BankRow.objects.live().aggregate(first=Min("day"))["first"]
    return events(bank_moves().filter(day__gte=first - before)) if first else []


def events(moves: QuerySet) -> list[Event]:
    groups: dict[str, list[Any]] = {}
    for move in moves.order_by("-day", "-pk").values_list(*FIELDS, named=True):
        groups.setdefault(str(move.source or move.pk), []).append(move)
    known = [each[0].source for each in groups.values() if each[0].source]
    numbers = dict(_deposits(known))
    return [_event(key, each, numbers) for key, each in groups.items()]


_deposits = Prepared(lambda ids: Deposit.objects.filter(uuid__in=ids).order_by().values_list("uuid", "pk"), list)


def _event(key: str, moves: list[Any], deposits: dict[UUID, int]) -> Event:
    first = moves[-1]
    number = deposits.get(first.source)
    cents = sum(one.cents if one.to_purse == Purse.BANK else -one.cents for one in moves)
    what = f"Deposit {number}" if number else _words(first)
    pks = tuple(one.pk for one in moves)
    return Event(key, first.day, first.at, cents, what, pks, first.source if number else None)


def _words(move: Any) -> str:
    other = Purse(move.from_purse if move.to_purse == Purse.BANK else move.to_purse).label
    where = f" {move.location__name}" if move.location__name else ""
    return f"{'From' if move.to_purse == Purse.BANK else 'To'} {other.lower()}{where}" + (
        f": {move.reason}" if move.reason else ""
    )


@dataclass(frozen=True)
class Proposal:
    row: BankRow
    event: Event

    @property
    def difference(self) -> int:
        return self.row.cents - self.event.cents


def sides(found: Iterable[BankRow]) -> list[Side]:
    return [Side(row.pk, row.day, row.cents) for row in found]


known_keys = Prepared(
    lambda keys: BankRow.objects.filter(withdrawn_at=None, key__in=keys).order_by().values_list("key"), list
)


def proposals(found: Iterable[BankRow], known: Iterable[Event]) -> list[Proposal]:
    """What is near in amount and day. Only a deposit can differ; another move would have to be put right first."""
    by_row, by_key = {row.pk: row for row in found}, {event.key: event for event in known}
    fits = [
        (row, event)
        for row, event in rules_bank.near(sides(by_row.values()), [event.side for event in by_key.values()])
        if by_key[event.key].deposit or row.cents == event.cents
    ]
    return [Proposal(by_row[row.key], by_key[event.key]) for row, event in fits]


def candidates(row: BankRow, known: Iterable[Event]) -> list[Event]:
    """The events that a row could be, those nearest in amount first."""
    same_way = [event for event in known if event.cents * row.cents > 0]
    same_way.sort(key=lambda event: (abs(event.cents - row.cents), abs((event.day - row.day).days)))
    return same_way[:CANDIDATES]


def matched_with(source: UUID) -> tuple[list[BankRow], list[Event], list[Matched]]:
    """The rows, the events and the lines of one match."""
    lines = list(Matched.objects.live().filter(source=source).select_related("by", "row"))
    moves = CashMove.objects.filter(pk__in=[one.move_id for one in lines if one.move_id])
    return [one.row for one in lines if one.row], events(moves), lines


def loose_matches() -> QuerySet:
    """Rows whose match no longer holds, because one of its moves was taken back since; with the `match` they are in."""
    gone = Matched.objects.live().filter(move__reversed_by__isnull=False)
    return rows().filter(match__in=gone.values("source"))
