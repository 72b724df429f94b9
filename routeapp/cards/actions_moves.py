"""What rows of statements move, brought to what readers, placements and hand matches say now."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from routeapp.cards import queries
from routeapp.cards.models import CardRow
from routeapp.cards.queries_moves import moves_of, spots_of, waits
from routeapp.cash import actions as cash
from routeapp.cash.models import CashMove
from routeapp.kit.prepared import update


def settle(*, rows: Sequence[CardRow], by: Any, at: datetime) -> int:
    """Bring the moves of these live rows to what they must be now; changes nothing when they are. How many changed."""
    spots = spots_of(rows)
    standing = _standing(rows)
    wanted = {row.uuid: moves_of(row, spots.get(row.uuid)) for row in rows}
    changed = [uuid for uuid, moves in wanted.items() if _shapes(moves) != _shapes(standing[uuid])]
    cash.reverse(moves=[move for uuid in changed for move in standing[uuid]], by=by, at=at)
    cash.append(moves=[move for uuid in changed for move in wanted[uuid]], by=by, at=at)
    turned = [row for row in rows if row.waits != waits(row, spots)]
    for row in turned:
        row.waits = not row.waits
    update(turned, "waits")
    return len(changed)


def _standing(rows: Sequence[CardRow]) -> dict[UUID, list[CashMove]]:
    found: dict[UUID, list[CashMove]] = defaultdict(list)
    for move in queries.standing_moves([row.uuid for row in rows]):
        found[move.source].append(move)
    return found


def _shapes(moves: Iterable[CashMove]) -> list[tuple]:
    return sorted(
        (move.from_purse, move.to_purse, move.cents, move.machine_id or 0, move.location_id or 0, move.day)
        for move in moves
    )
