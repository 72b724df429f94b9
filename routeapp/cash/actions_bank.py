"""Statements of the bank taken in, and their rows matched to what our books say the bank moved."""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from routeapp.cash import queries_bank as queries
from routeapp.cash import rules_bank, rules_statement
from routeapp.cash.actions import LARGEST_AMOUNT, append, take_back
from routeapp.cash.actions_deposits import withdraw_bank_figures, write_bank_figure
from routeapp.cash.models import CashMove, Purse
from routeapp.cash.models_bank import BankRow, Deposit, How, Matched, Statement
from routeapp.cash.queries_bank import Event
from routeapp.kit import audit, clock, money
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same
from routeapp.kit.prepared import insert
from routeapp.kit.progress import Tell, nobody
from routeapp.kit.reading import files
from routeapp.kit.reading.sheet import Unreadable
from routeapp.kit.reading.statement import Problem

ROWS_AT_ONCE = 2000
MOST_TOLD = 5  # problems in one sentence
# What only the bank's row tells of.
BOOKABLE = (Purse.COSTS, Purse.TRADE, Purse.FEES, Purse.CARDS, Purse.OWNER, Purse.OVER_SHORT)


@transaction.atomic
def take_statement(*, uuid: UUID, file: Any, by: Any, at: datetime) -> Statement:
    """Keep a file to look at; the same form sent twice is one. Refuses a file that cannot be read."""
    lock(uuid)
    if made := Statement.objects.filter(uuid=uuid).first():
        return same(made, name=file.name[:200])
    kept = Statement(uuid=uuid, name=file.name[:200], by=by, at=at, received_at=at)
    looked = files.keep(uuid=uuid, kept=kept, file=file, look=queries.looked_at)
    kept.signature = looked.signature(looked.heading)
    kept.save(force_insert=True)
    audit.record("took a bank statement to look at", kept, by=by, at=at)
    return kept


def bring_rows(
    *,
    statement: Statement,
    said: dict[str, Any],
    account: str,
    signature: str,
    by: Any,
    at: datetime,
    told: Tell = nobody,
) -> Statement:
    """Take the rows of a statement as a person told its columns, all or none, and match those that are exact.

    A row that stands in an earlier file of the account is there already. Refuses rows that cannot be read or are in
    another currency, and a statement whose rows were taken.
    """
    found = _read(statement, said, told)  # before any lock is taken, because large files take their time
    rows = dict(zip(rules_statement.keys(found.rows, account), found.rows, strict=True))
    with transaction.atomic():
        lock("bank")
        one = Statement.objects.select_for_update().get(pk=statement.pk)
        if one.rows_new is not None or one.withdrawn_at:
            raise Refused("The rows of this file were taken already. Nothing was changed.")
        one.said, one.account, one.signature, one.rows_left_out = said, account, signature, found.left_out
        one.rows_new = _insert(one, rows, by, at, told)
        one.rows_known = len(rows) - one.rows_new
        one.save(update_fields=["said", "account", "signature", "rows_new", "rows_known", "rows_left_out"])
        told("Matching them with what the books say")
        _match_exact(by, at)
        audit.record("took the rows of the bank statement", one, by=by, at=at)
    return one


def _insert(statement: Statement, rows: dict[UUID, rules_statement.Row], by: Any, at: datetime, told: Tell) -> int:
    """Those that are not there yet, some at a time, so that memory stays flat; how many they were."""
    facts = {"statement_id": statement.pk, "by_id": by.pk, "at": at, "received_at": at, "source": statement.uuid}
    keys, many = list(rows), 0
    for start in range(0, len(keys), ROWS_AT_ONCE):
        told("Writing rows", start, len(keys))
        some = keys[start : start + ROWS_AT_ONCE]
        known = {key for (key,) in queries.known_keys(some)}
        new = [BankRow(key=key, **vars(rows[key]), **facts) for key in some if key not in known]
        insert(new)
        many += len(new)
    return many


def _read(statement: Statement, said: dict[str, Any], told: Tell) -> rules_statement.Found:
    try:
        found = queries.rows_in(statement, said, told)
    except Unreadable as problem:
        raise Refused(str(problem)) from None
    if found.problems:
        words = " ".join(_told(one) for one in found.problems[:MOST_TOLD])
        more = found.wrong - MOST_TOLD
        raise Refused(f"Nothing was taken. {words}{f' And {more:,} more.' if more > 0 else ''}")
    if not found.rows:
        raise Refused("Nothing was taken: no row below the headings holds an amount.")
    return found


def _told(problem: Problem) -> str:
    return f"Row {problem.row}{f', column {problem.column}' if problem.column else ''}: {problem.text}"


def _match_exact(by: Any, at: datetime) -> None:
    rows, events = queries.unmatched_sides(), queries.unmatched_events()
    by_key = {event.key: event for event in events}
    lines: list[Matched] = []
    for row, event in rules_bank.exact(rows, [event.side for event in events]):
        lines += _lines([row.key], [by_key[event.key]], How.EXACT, uuid4())
    _write(lines, by, at)


def _lines(rows: Iterable[int], events: Iterable[Event], how: How, source: UUID, note: str = "") -> list[Matched]:
    said = {"how": how, "source": source, "note": note}
    moves = [pk for event in events for pk in event.moves]
    return [Matched(row_id=pk, **said) for pk in rows] + [Matched(move_id=pk, **said) for pk in moves]


def _write(lines: Sequence[Matched], by: Any, at: datetime) -> None:
    for line in lines:
        line.by_id, line.at, line.received_at = by.pk, at, at
    insert(lines)


@transaction.atomic
def match(
    *, uuid: UUID, rows: Iterable[BankRow], events: Iterable[str], how: How, reason: str = "", by: Any, at: datetime
) -> None:
    """Say that rows of the bank are these events of our books. Where one of them is a deposit and the sums differ,
    the bank's figure of it is written down and the difference goes over or short.

    The same `uuid` again changes nothing. Refuses rows or events that are matched already, and sums that differ
    where there is no deposit.
    """
    lock("bank")
    if Matched.objects.filter(source=uuid).exists():
        return
    found = _still_open(rows)
    chosen = _events(events)
    difference = sum(row.cents for row in found) - sum(event.cents for event in chosen)
    if difference:
        _put_difference(chosen, difference, reason, uuid, by, at)
        chosen = _events(events)
    _write(_lines([row.pk for row in found], chosen, how, uuid, reason), by, at)
    audit.record_all("matched", found, by=by, at=at)


def _still_open(rows: Iterable[BankRow]) -> list[BankRow]:
    numbers = [row.pk for row in rows]
    found = list(queries.unmatched_rows().filter(pk__in=numbers))
    if not found or len(found) < len(numbers):
        raise Refused("A row of these is matched already. Nothing was changed.")
    return found


def _events(keys: Iterable[str]) -> list[Event]:
    wanted = set(keys)
    found = [event for event in queries.unmatched_events(queries.MATCHED_BY_HAND) if event.key in wanted]
    if not found or len(found) < len(wanted):
        raise Refused("Choose what it is. What was chosen is matched already, or was taken back since.", "events")
    return found


def _put_difference(chosen: list[Event], difference: int, reason: str, uuid: UUID, by: Any, at: datetime) -> None:
    deposits = [event for event in chosen if event.deposit]
    if len(deposits) != 1:
        sums = money.as_text(sum(event.cents for event in chosen))
        raise Refused(
            f"The bank's figure is {money.as_text(difference)} away from {sums}, what was chosen. "
            "Only one deposit can differ; put another payment right first, or choose what else belongs to it.",
            "events",
        )
    deposit = Deposit.objects.select_for_update().get(uuid=deposits[0].deposit)
    figure = deposits[0].cents + difference
    write_bank_figure(deposit=deposit, cents=figure, reason=reason, source=uuid, by=by, at=at)


@transaction.atomic
def book_row(*, uuid: UUID, row: BankRow, other: Purse, reason: str, by: Any, at: datetime) -> None:
    """Write into the books what only the bank's row tells of: a charge, interest, the owner's own money, cabinets and
    prizes paid for, a payout of a card processor whose files have none.

    The same `uuid` again changes nothing. Refuses a row that is matched, one without a reason, and a payout that the
    processor's file tells of.
    """
    lock("bank")
    if Matched.objects.filter(source=uuid).exists():
        return
    (found,) = _still_open([row])
    if other not in BOOKABLE or not reason:
        raise Refused("Say what it is, and in a few words what for.", "reason")
    if abs(found.cents) > LARGEST_AMOUNT:
        raise Refused("That amount is too large to be meant.")
    ends = (other, Purse.BANK) if found.cents > 0 else (Purse.BANK, other)
    if other == Purse.CARDS and queries.moved_near(found, *ends).exists():
        raise Refused("The processor's own file tells of this amount. Say above that they belong together.", "other")
    facts = {"day": found.day, "at": min(at, _noon(found)), "source": uuid, "reason": reason}
    append(moves=[CashMove(from_purse=ends[0], to_purse=ends[1], cents=abs(found.cents), **facts)], by=by, at=at)
    moves = CashMove.objects.filter(source=uuid).values_list("pk", flat=True)
    said = {"how": How.BOOKED, "source": uuid, "note": reason}
    _write([Matched(row=found, **said), *(Matched(move_id=pk, **said) for pk in moves)], by, at)
    audit.record("booked", found, by=by, at=at)


def _noon(row: BankRow) -> datetime:
    return clock.start_of_day(row.day, timezone.get_current_timezone_name()) + timedelta(hours=12)


@transaction.atomic
def set_aside(*, uuid: UUID, row: BankRow, reason: str, by: Any, at: datetime) -> None:
    """Leave a row that is none of the business's. Refuses one that is matched, and one without a reason."""
    lock("bank")
    if Matched.objects.filter(source=uuid).exists():
        return
    (found,) = _still_open([row])
    if not reason:
        raise Refused("Say why this row is none of the business's.", "reason")
    _write([Matched(row=found, how=How.ASIDE, source=uuid, note=reason)], by, at)
    audit.record("set aside", found, by=by, at=at)


@transaction.atomic
def undo_match(*, source: UUID, by: Any, at: datetime) -> None:
    """Take a match apart again, with what was written into the books by it; does nothing when it is apart."""
    lock("bank")
    lines = Matched.objects.live().filter(source=source)
    if rows := list(BankRow.objects.filter(matched__in=lines)):
        _undo(lines, by, at)
        audit.record_all("took the match apart of", rows, by=by, at=at)


def _undo(lines: QuerySet, by: Any, at: datetime) -> None:
    """Take whole matches apart, any number of them at once."""
    sources = lines.order_by().values("source")
    take_back(sources=sources, by=by, at=at)
    withdraw_bank_figures(sources=sources, by=by, at=at)
    Matched.objects.live().filter(source__in=sources).update(withdrawn_at=at, withdrawn_by=by)


@transaction.atomic
def withdraw_statement(*, statement: Statement, by: Any, at: datetime, told: Tell = nobody) -> int:
    """Take a statement away that was brought by mistake, with its rows and every match of theirs. How many rows.

    A row that another statement says too comes back from that one.
    """
    lock("bank")
    told("Taking its matches apart")
    rows = BankRow.objects.live().filter(statement=statement)
    _undo(Matched.objects.live().filter(row__in=rows), by, at)
    many = rows.update(withdrawn_at=at, withdrawn_by=by)
    if Statement.objects.live().filter(pk=statement.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record("withdrew the bank statement", statement, by=by, at=at)
        _bring_back(statement, by, at, told)
    return many


def _bring_back(gone: Statement, by: Any, at: datetime, told: Tell) -> None:
    """The rows that other statements of the account left out because `gone` had them. A lost file brings none."""
    others = Statement.objects.live().filter(account__iexact=gone.account, rows_known__gt=0).order_by("pk")
    for one in others:
        with suppress(Refused):
            rows = _read(one, one.said, told).rows
            new = _insert(one, dict(zip(rules_statement.keys(rows, one.account), rows, strict=True)), by, at, told)
            one.rows_new, one.rows_known = one.rows_new + new, one.rows_known - new
            one.save(update_fields=["rows_new", "rows_known"])
    if others:
        _match_exact(by, at)
