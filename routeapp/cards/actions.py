"""Readers put into cabinets; statements taken in, checked, brought into the books and withdrawn."""

from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction

from locations.placements.queries import placement_of
from machines.cabinets.models import Machine
from routeapp.cards import queries, queries_statement, rules
from routeapp.cards.actions_moves import settle
from routeapp.cards.models import CardMatch, CardRow, CardStatement, ReaderMove
from routeapp.cards.queries import Whereabouts
from routeapp.cards.queries_moves import moves_of, spots_by_reader, waits
from routeapp.cards.queries_statement import Checked, Row
from routeapp.cash import actions as cash
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same
from routeapp.kit.prepared import insert
from routeapp.kit.progress import Tell, nobody
from routeapp.kit.reading import files
from routeapp.kit.reading.sheet import Unreadable

ROWS_AT_ONCE = 2000
MOST_TOLD = 5  # in one sentence
UNDO_FIRST = (
    "It would count twice: undo the match under “Bank” first, then bring this in and match the bank's row to it."
)


@transaction.atomic
def fit_reader(
    *, uuid: UUID, serial: str, machine: Machine | None, note: str = "", by: Any, at: datetime, received_at: datetime
) -> ReaderMove:
    """From `at` on a reader is in a cabinet, or in none. The same form again changes nothing.

    Sales it made since then go to that cabinet. Refuses two statements about one reader at one moment.
    """
    number = rules.serial(serial)
    if not rules.SERIAL.fullmatch(number):
        raise Refused("Write the number that stands on the reader: letters, digits, hyphens and dots.", "serial")
    lock("card statements")
    if made := ReaderMove.objects.filter(uuid=uuid).first():
        return same(made, serial=number, machine=machine, note=note)
    if ReaderMove.objects.live().filter(serial=number, at=at).exists():
        raise Refused("Where this reader was at that moment is written down already. Withdraw that first.", "at")
    facts = {"by": by, "at": at, "received_at": received_at, "source": uuid}
    move = ReaderMove.objects.create(uuid=uuid, serial=number, machine=machine, note=note, **facts)
    _settle_reader(move, by, received_at)
    audit.record("fitted" if machine else "took out", move, by=by, at=received_at)
    return move


@transaction.atomic
def withdraw_reader_move(*, move: ReaderMove, by: Any, at: datetime) -> None:
    """Take back what was said about a reader by mistake; its sales go where the rest of its history says."""
    lock("card statements")
    if ReaderMove.objects.live().filter(pk=move.pk).update(withdrawn_at=at, withdrawn_by=by):
        _settle_reader(move, by, at)
        audit.record("withdrew where it was:", move, by=by, at=at)


def _settle_reader(move: ReaderMove, by: Any, at: datetime) -> None:
    """The rows that a reader's move can concern: those since then."""
    rows = queries.live_rows().filter(serial=move.serial, at__gte=move.at)
    settle(rows=list(rows), by=by, at=at)


@transaction.atomic
def match_row(*, row: CardRow, machine: Machine, by: Any, at: datetime) -> None:
    """Say by hand which cabinet a row belongs to. It counts where that cabinet stood at the moment of the row.

    Refuses a cabinet that stood nowhere then, and a row that was withdrawn.
    """
    lock("card statements")
    row = CardRow.objects.select_for_update(of=("self",)).select_related("statement").get(pk=row.pk)
    stay = placement_of(machine, row.at)
    if row.withdrawn_at:
        raise Refused("This row was withdrawn with its statement.")
    if stay is None:
        raise Refused(f"By the books {machine} stood nowhere at that moment. Say first where it stood.", "machine")
    CardMatch.objects.live().filter(row=row).update(withdrawn_at=at, withdrawn_by=by)
    CardMatch.objects.create(row=row, machine=machine, location=stay.location, by=by, at=at, received_at=at)
    settle(rows=[row], by=by, at=at)
    audit.record("matched by hand", row, by=by, at=at)


@transaction.atomic
def match_again(*, by: Any, at: datetime) -> int:
    """Look once more for the cabinets of rows that wait, and of those that count where theirs did not stand, as
    readers and placements are known now. How many changed."""
    lock("card statements")
    wrong = [pk for rows in (queries.waiting(), queries.astray()) for pk in rows.values_list("pk", flat=True)]
    changed = 0
    for start in range(0, len(wrong), ROWS_AT_ONCE):
        rows = list(queries.live_rows().filter(pk__in=wrong[start : start + ROWS_AT_ONCE]))
        changed += settle(rows=rows, by=by, at=at)
    if changed:
        audit.record("looked again for the cabinets of rows of", rows[0].statement, by=by, at=at)
    return changed


@transaction.atomic
def take_file(*, uuid: UUID, file: Any, by: Any, at: datetime) -> CardStatement:
    """Keep a statement to look at; the same form sent twice is one. Refuses a file that cannot be read."""
    lock(uuid)
    if made := CardStatement.objects.filter(pk=uuid).first():
        return same(made, name=file.name[:200])
    kept = CardStatement(uuid=uuid, name=file.name[:200], by=by, received_at=at)
    looked = files.keep(uuid=uuid, kept=kept, file=file, look=queries_statement.looked_at)
    kept.signature = looked.signature(looked.heading)
    kept.save(force_insert=True)
    audit.record("took a card statement to look at", kept, by=by, at=at)
    return kept


def say(
    *,
    statement: CardStatement,
    said: dict[str, Any],
    signature: str = "",
    by: Any,
    at: datetime,
    told: Tell = nobody,
) -> None:
    """Keep what a person said about a statement, and what a check of it finds. Refuses once it is in the books."""
    statement.said = said
    checked = _checked(statement, told)
    with transaction.atomic():
        one = _locked(statement)
        if one.brought_at and not one.withdrawn_at:
            raise Refused("This statement is in the books already. Withdraw it first.")
        one.said, one.found, one.signature = said, queries_statement.told(checked), signature or one.signature
        one.save(update_fields=["said", "found", "signature"])
        audit.record("said what the columns mean in", one, by=by, at=at)


def _checked(statement: CardStatement, told: Tell) -> Checked:
    """Read before any lock is taken, because large files take their time."""
    try:
        return queries_statement.check(statement, statement.received_at, told)
    except Unreadable as problem:
        raise Refused(str(problem)) from None


def _locked(statement: CardStatement) -> CardStatement:
    return CardStatement.objects.select_for_update().get(pk=statement.pk)


def bring_in(*, statement: CardStatement, by: Any, at: datetime, told: Tell = nobody) -> int:
    """Bring a statement into the books, all or nothing; rows that are there already are left out. How many came.

    Also brings what is missing of a statement whose rows another one had brought, which was withdrawn since.
    Refuses one with a row that is wrong or a question that is open, and a payout that was booked from the bank's row.
    """
    if not statement.said:
        raise Refused("Say first what its columns mean.")
    checked = _checked(statement, told)
    if not checked.ready:
        raise Refused("Some rows are wrong, or a question is open. Nothing was brought in.")
    with transaction.atomic():
        lock("card statements", "bank")
        one = _locked(statement)
        if one.said != statement.said:
            raise Refused("Somebody said meanwhile what its columns mean. Look at it again; nothing was brought in.")
        if twice := queries_statement.booked_already(checked, one.said["zone"]):
            more = f" And {len(twice) - MOST_TOLD:,} more." if len(twice) > MOST_TOLD else ""
            raise Refused(f"Nothing was brought in. {' '.join(twice[:MOST_TOLD])}{more} {UNDO_FIRST}")
        many = _write(one, checked.rows, by, at, told)
        if many or not one.brought_at:
            one.brought_at, one.withdrawn_at, one.withdrawn_by = at, None, None
            one.until = queries_statement.reaches(checked, one.said["zone"], one.received_at)
            one.save(update_fields=["brought_at", "withdrawn_at", "withdrawn_by", "until"])
            audit.record("brought in a card statement", one, by=by, at=at)
        return many


def _write(statement: CardStatement, rows: list[Row], by: Any, at: datetime, told: Tell) -> int:
    """The rows that are not there yet, some at a time, so that memory stays flat; how many they were."""
    places, many = Whereabouts(row.serial for row in rows if row.serial), 0
    for start in range(0, len(rows), ROWS_AT_ONCE):
        told("Writing rows", start, len(rows))
        some = rows[start : start + ROWS_AT_ONCE]
        there = queries_statement.known(some)
        made = [_row(statement, row, by, at) for row in some if row.key not in there]
        spots = spots_by_reader(made, places)
        for row in made:
            row.waits = waits(row, spots)
        insert(made)
        cash.append(moves=[move for row in made for move in moves_of(row, spots.get(row.uuid))], by=by, at=at)
        many += len(made)
    return many


def _row(statement: CardStatement, row: Row, by: Any, at: datetime) -> CardRow:
    return CardRow(
        uuid=uuid4(),
        statement=statement,
        number=row.line.row,
        key=row.key,
        serial=row.serial[:40],
        reference=(row.line.values.get("reference") or "")[:100],
        sale_cents=row.parts.sale,
        fee_cents=row.parts.fee,
        refund_cents=row.parts.refund,
        payout_cents=row.parts.payout,
        at=row.at,
        by_id=by.pk,
        received_at=at,
        source=statement.pk,
    )


@transaction.atomic
def withdraw(*, statement: CardStatement, by: Any, at: datetime, told: Tell = nobody) -> int:
    """Take a statement out of the books again: every move it brought is reversed. How many rows it were.

    Refuses one that is not in them.
    """
    lock("card statements")
    told("Reversing its moves")
    one = _locked(statement)
    if not one.brought_at or one.withdrawn_at:
        raise Refused("This statement is not in the books.")
    live = CardRow.objects.live().filter(statement=one)
    cash.take_back(sources=live.order_by().values("uuid"), by=by, at=at)
    many = live.update(withdrawn_at=at, withdrawn_by=by)
    one.withdrawn_at, one.withdrawn_by = at, by
    one.save(update_fields=["withdrawn_at", "withdrawn_by"])
    audit.record("withdrew a card statement", one, by=by, at=at)
    return many
