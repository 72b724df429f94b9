"""Where rows of statements were made, and what they therefore move: unsaved, for the actions."""

from collections.abc import Sequence
from uuid import UUID

from routeapp.cards import queries
from routeapp.cards.models import CardRow
from routeapp.cards.queries import Spot, Whereabouts
from routeapp.cash.models import CashMove, Purse
from routeapp.kit import clock


def waits(row: CardRow, spots: dict[UUID, Spot]) -> bool:
    return bool(row.sale_cents) and row.uuid not in spots


def spots_of(rows: Sequence[CardRow]) -> dict[UUID, Spot]:
    """Where each row was made, by hand or by its reader; those that nobody knows are missing."""
    places = Whereabouts(row.serial for row in rows if row.serial)
    return spots_by_reader(rows, places) | queries.spots_by_hand(rows)


def spots_by_reader(rows: Sequence[CardRow], places: Whereabouts) -> dict[UUID, Spot]:
    found = {row.uuid: places.spot(row.serial, row.at) for row in rows if row.serial}
    return {uuid: spot for uuid, spot in found.items() if spot}


def moves_of(row: CardRow, spot: Spot | None) -> list[CashMove]:
    """A sale without a cabinet moves nothing yet; what the processor keeps, gives back or pays out needs none."""
    day = spot.day if spot else clock.local_day(row.at, row.statement.said["zone"])
    fee = (Purse.CARDS, Purse.FEES) if row.fee_cents > 0 else (Purse.FEES, Purse.CARDS)
    ends = [
        (Purse.PLAYERS, Purse.CARDS, row.sale_cents if spot else 0),
        (*fee, abs(row.fee_cents)),
        (Purse.CARDS, Purse.REFUNDS, row.refund_cents),
        (Purse.CARDS, Purse.BANK, row.payout_cents),
    ]
    return [
        CashMove(
            from_purse=source,
            to_purse=target,
            cents=cents,
            day=day,
            machine_id=spot.machine if spot and target != Purse.BANK else None,
            location_id=spot.location if spot and target != Purse.BANK else None,
            source=row.uuid,
            at=row.at,
        )
        for source, target, cents in ends
        if cents
    ]
