"""Moves that settle what counts and prizes meters show, less what moves settle so far. Only the ledger calls this."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import NamedTuple

from routeapp.kit.prepared import Prepared, row
from routeapp.stock.models import Place, PlaceKind, StockMove
from routeapp.stock.queries_settling import Origin, Window
from routeapp.stock.rules_settling import Moved, Outcome, settle


class Cause(NamedTuple):
    """Whose facts bring settling moves, and when they were received."""

    by_id: int
    received_at: datetime


class Wrong(NamedTuple):
    """So many pieces must still go out of a place by what is settled; below zero into it."""

    place: Place
    outcome: Outcome
    pieces: int
    origin: Origin


def wrong(seen: Window, to_come: Iterable[StockMove] = ()) -> list[Wrong]:
    """What is not settled right yet in a place, with moves that are not written yet.

    What is missing from a cabinet was won by players; elsewhere it is shrinkage, and so is what was found too many:
    players put nothing in.
    """
    moved = [
        Moved(move.at, move.prize_id, sign * move.quantity)
        for move in to_come
        for sign, place in ((1, move.to_place_id), (-1, move.from_place_id))
        if place == seen.place.pk
    ]
    in_cabinet = seen.place.kind == PlaceKind.CABINET
    wanted = settle(seen.start, [*seen.facts, *moved], seen.since, in_cabinet=in_cabinet)
    return [
        Wrong(seen.place, outcome, pieces, seen.origins[outcome.by_count, outcome.by_reading])
        for outcome in sorted(wanted.keys() | seen.settled.keys(), key=str)
        if (pieces := wanted.get(outcome, 0) - seen.settled.get(outcome, 0))
    ]


def settling_moves(each: Sequence[Wrong], cause: Cause) -> list[StockMove]:
    """Unsaved moves that put right what is wrong."""
    beyond = places_beyond(PlaceKind.PLAYERS, PlaceKind.SHRINKAGE) if each else {}
    return [_settling_move(one, beyond, cause) for one in each]


def _settling_move(one: Wrong, beyond: dict[PlaceKind, Place], cause: Cause) -> StockMove:
    other = beyond[PlaceKind.PLAYERS if one.outcome.won else PlaceKind.SHRINKAGE]
    ends = (one.place, other) if one.pieces > 0 else (other, one.place)
    return row(
        StockMove,
        prize_id=one.outcome.prize,
        quantity=abs(one.pieces),
        from_place=ends[0],
        to_place=ends[1],
        settles_id=one.outcome.by_count,
        metered_id=one.outcome.by_reading,
        at=one.origin[0],
        source=one.origin[1],
        by_id=cause.by_id,
        received_at=cause.received_at,
    )


def places_beyond(*kinds: PlaceKind) -> dict[PlaceKind, Place]:
    """The one place of each kind that is not ours: suppliers, players, shrinkage."""
    found = {PlaceKind(place.kind): place for place in _of_kinds([kind.value for kind in kinds])}
    for kind in kinds:
        found[kind] = found.get(kind) or Place.objects.get_or_create(kind=kind, defaults={"name": kind.label})[0]
    return found


_of_kinds = Prepared(lambda kinds: Place.objects.filter(kind__in=kinds).order_by(), list[str])
