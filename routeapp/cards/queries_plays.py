"""What was paid by card in stretches of cabinets' time, and whether statements tell of them yet."""

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections

from routeapp.cards.models import CardMatch, ReaderMove
from routeapp.cards.queries import known_until, moves_of_readers
from routeapp.cash.models import CashMove
from routeapp.kit.prepared import Prepared

Fitted = list[tuple[datetime, datetime | None]]


def with_readers(machine_ids: Iterable[int]) -> dict[int, Fitted]:
    """When cabinets had a reader: (from, until) by cabinet; `until` is None while it is there."""
    machine_ids = list(machine_ids)
    serials = sorted({serial for (serial,) in _readers_in(machine_ids)})
    found: dict[int, Fitted] = defaultdict(list)
    last: dict[str, tuple[datetime, int | None]] = {}
    for serial, at, machine in moves_of_readers(serials):
        _close(found, last.get(serial), at)
        last[serial] = at, machine
    for move in last.values():
        _close(found, move, None)
    return {machine: found[machine] for machine in machine_ids if machine in found}


def _close(found: dict[int, Fitted], move: tuple[datetime, int | None] | None, until: datetime | None) -> None:
    if move and move[1]:
        found[move[1]].append((move[0], until))


_readers_in = Prepared(
    lambda machines: (
        ReaderMove.objects.filter(withdrawn_at=None, machine__in=machines).order_by().values_list("serial")
    ),
    list,
)

Stretch = tuple[int, datetime, datetime]  # of a cabinet: after the first moment, until the second one
MOVED = "(move.from_purse, move.to_purse) IN (('players', 'cards'), ('cards', 'players'))"
ON_SQLITE = """
    SELECT one.key, SUM(CASE move.from_purse WHEN 'players' THEN move.cents ELSE -move.cents END)
    FROM json_each(%s) AS one CROSS JOIN {moves} AS move
    WHERE move.machine_id = json_extract(one.value, '$[0]')
    AND move.day BETWEEN json_extract(one.value, '$[3]') AND json_extract(one.value, '$[4]')
    AND {moved} AND move.at > json_extract(one.value, '$[1]') AND move.at <= json_extract(one.value, '$[2]')
    GROUP BY one.key
"""
ON_POSTGRESQL = """
    SELECT one.number - 1, SUM(CASE move.from_purse WHEN 'players' THEN move.cents ELSE -move.cents END)
    FROM unnest(%s::bigint[], %s::timestamptz[], %s::timestamptz[], %s::date[], %s::date[])
    WITH ORDINALITY AS one(machine, since, until, first, last, number)
    JOIN {moves} AS move ON move.machine_id = one.machine AND move.day BETWEEN one.first AND one.last
    AND {moved} AND move.at > one.since AND move.at <= one.until
    GROUP BY one.number
"""
DAY = timedelta(days=1)


def by_card(machines: list[int], stretches: Sequence[Stretch]) -> list[int | None]:
    """What was paid by card in each stretch of these cabinets, in minor units, in constant queries: None where one had
    a reader and no statement tells of the whole stretch yet."""
    fitted = with_readers(machines)
    with_cards = fitted.keys() | {machine for (machine,) in _matched_in(machines)}
    if not with_cards:
        return [0] * len(stretches)
    told, until = [one for one in stretches if one[0] in with_cards], known_until()
    sold = dict(zip(told, sold_in(told), strict=True))
    return [sold.get(one, 0) if _is_told(one, fitted.get(one[0], []), until) else None for one in stretches]


_matched_in = Prepared(
    lambda machines: (
        CardMatch.objects.filter(withdrawn_at=None, machine__in=machines).order_by().values_list("machine_id")
    ),
    list,
)


def _is_told(stretch: Stretch, fitted: Fitted, until: datetime | None) -> bool:
    """Whether statements reach as far as there was a reader in the stretch."""
    _, since, end = stretch
    needed = [min(end, last or end) for first, last in fitted if first < end and (last is None or last > since)]
    return not needed or (until is not None and max(needed) <= until)


def sold_in(stretches: Sequence[Stretch]) -> list[int]:
    """What statements say of each stretch of a cabinet's time, in minor units, in one query.

    By hand, because the ORM cannot join a list of stretches; the days let the index (machine, day, …) find the moves.
    """
    found = [0] * len(stretches)
    if not stretches:
        return found
    database = connections[DEFAULT_DB_ALIAS]
    rows = [(machine, since, until, since.date() - DAY, until.date() + DAY) for machine, since, until in stretches]
    sql = ON_POSTGRESQL if database.vendor == "postgresql" else ON_SQLITE
    if database.vendor == "postgresql":
        given: list[Any] = [list(column) for column in zip(*rows, strict=True)]
    else:
        written = database.ops.adapt_datetimefield_value
        given = [json.dumps([(row[0], written(row[1]), written(row[2]), *row[3:]) for row in rows], default=str)]
    with database.cursor() as cursor:
        cursor.execute(sql.format(moves=database.ops.quote_name(CashMove._meta.db_table), moved=MOVED), given)
        for number, cents in cursor.fetchall():
            found[int(number)] = int(cents)
    return found
