"""Bags taken to the bank together, and what the bank found in them."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from routeapp.cash import queries, queries_bank
from routeapp.cash.actions import LARGEST_AMOUNT, append, reverse, take_back
from routeapp.cash.models import Bag, BagMove, CashMove, Holder, Purse
from routeapp.cash.models_bank import BankFigure, Deposit
from routeapp.kit import audit, clock, money
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import refuse_another, same


@transaction.atomic
def deposit(
    *,
    uuid: UUID,
    bags: Iterable[Bag],
    by: Any,
    at: datetime,
    received_at: datetime,
    lines: dict[str, int] | None = None,
    note: str = "",
) -> Deposit:
    """Take bags to the bank with all they hold; the same `uuid` again changes nothing. `lines` are the pieces on the
    slip by denomination key. A bag below zero, out of which a host got more than was in it, takes that off the others.

    Refuses no bag, a sealed one nobody counted, an empty one, one that is there, bags that hold nothing together, and
    a moment before one of them last changed hands.
    """
    numbers = [bag.pk for bag in bags]
    list(Bag.objects.select_for_update().filter(pk__in=numbers).order_by("pk"))
    if made := Deposit.objects.filter(uuid=uuid).first():
        refuse_another(_bags_in(made), set(numbers))
        return same(made, lines=lines or {}, note=note)
    found = list(queries.bags().filter(pk__in=numbers).order_by("at", "pk"))
    if not found:
        raise Refused("Choose the bags that went to the bank.")
    for bag in found:
        _refuse_to_bank(bag, at)
    cents = sum(bag.holds for bag in found)
    if cents <= 0:
        raise Refused(
            "More was paid out of these bags than was in them. Choose those with it that the rest came out of."
        )
    kept = Deposit.objects.create(
        uuid=uuid,
        cents=cents,
        lines=lines or {},
        note=note,
        by=by,
        at=at,
        received_at=received_at,
    )
    append(moves=[_to_bank(bag, kept) for bag in found], by=by, at=received_at)
    BagMove.objects.bulk_create(
        BagMove(bag=bag, holder=Holder.BANK, source=uuid, by=by, at=at, received_at=received_at) for bag in found
    )
    audit.record_all("took to the bank", found, by=by, at=received_at)
    return kept


def _bags_in(deposit: Deposit) -> set[int]:
    return set(BagMove.objects.filter(source=deposit.uuid).values_list("bag", flat=True))


def _refuse_to_bank(bag: Any, at: datetime) -> None:
    if bag.holder == Holder.BANK:
        raise Refused(f"{bag} is at the bank already.")
    if bag.has_sealed and not bag.counted:
        raise Refused(f"Count {bag} first, so that the bank's figure can be compared.")
    if not bag.holds:
        raise Refused(f"There is no money in {bag} to take to the bank.")
    if bag.there_since and at < bag.there_since:
        raise Refused(f"{bag} changed hands after that moment. Say when it went to the bank.", "at")


def _to_bank(bag: Any, kept: Deposit) -> CashMove:
    ends = (Purse.BAG, Purse.BANK) if bag.holds > 0 else (Purse.BANK, Purse.BAG)
    return CashMove(
        from_purse=ends[0],
        to_purse=ends[1],
        cents=abs(bag.holds),
        day=clock.local_day(kept.at, bag.location.time_zone),
        location=bag.location,
        bag=bag,
        source=kept.uuid,
        at=kept.at,
    )


@transaction.atomic
def withdraw_deposit(*, deposit: Deposit, by: Any, at: datetime) -> None:
    """Undo that bags were taken to the bank: their money is in them again, and they are with whoever had them.

    Refuses while a row of a bank statement is matched to it.
    """
    lock("bank")
    deposit = Deposit.objects.select_for_update().get(pk=deposit.pk)
    if deposit.withdrawn_at:
        return
    _refuse_matched(deposit)
    inside = CashMove.objects.filter(source=deposit.uuid, bag__isnull=False).values("bag")
    list(Bag.objects.select_for_update().filter(pk__in=inside).order_by("pk"))
    take_back(sources=[deposit.uuid], by=by, at=at)
    BagMove.objects.withdraw(sources=[deposit.uuid], by=by, at=at)
    Deposit.objects.filter(pk=deposit.pk).update(withdrawn_at=at, withdrawn_by=by)
    audit.record("withdrew", deposit, by=by, at=at)


def _refuse_matched(deposit: Deposit) -> None:
    if queries_bank.are_matched(CashMove.objects.filter(source=deposit.uuid)):
        raise Refused("A row of the bank's statement is matched to this deposit. Undo the match first.")


@transaction.atomic
def note_bank_figure(*, deposit: Deposit, cents: int, reason: str, by: Any, at: datetime) -> None:
    """Write down what the bank found in a deposit; it takes the place of an earlier figure, and the difference goes
    over or short. Refuses a difference without a reason, and a deposit that is matched or was withdrawn."""
    lock("bank")
    deposit = Deposit.objects.select_for_update().get(pk=deposit.pk)
    if deposit.withdrawn_at:
        raise Refused("This deposit was withdrawn: its money is in the bags again.")
    _refuse_matched(deposit)
    write_bank_figure(deposit=deposit, cents=cents, reason=reason, by=by, at=at)
    audit.record("wrote down the bank's figure of", deposit, by=by, at=at)


@transaction.atomic
def write_bank_figure(
    *, deposit: Deposit, cents: int, reason: str, source: UUID | None = None, by: Any, at: datetime
) -> None:
    """The inside of note_bank_figure and of matching a row of a statement (`source`). Refuses a difference without a
    reason."""
    if not 0 <= cents <= LARGEST_AMOUNT:
        raise Refused("That amount is too large to be meant.", "cents")
    if cents != deposit.cents and not reason:
        raise Refused("The bank's figure differs. Say what is known about it, or that nothing is.", "reason")
    standing = BankFigure.objects.live().filter(deposit=deposit)
    if standing.filter(cents=cents).exists():
        return
    standing.update(withdrawn_at=at, withdrawn_by=by)
    said = {"cents": cents, "reason": reason, "source": source}
    figure = BankFigure.objects.create(deposit=deposit, **said, by=by, at=at, received_at=at)
    _settle({deposit: figure}, by, at)


@transaction.atomic
def withdraw_bank_figures(*, sources: QuerySet, by: Any, at: datetime) -> None:
    """Take back what matches wrote down as the bank's figures; what was typed before holds again."""
    figures = list(BankFigure.objects.live().filter(source__in=sources).select_related("deposit"))
    BankFigure.objects.filter(pk__in=[one.pk for one in figures]).update(withdrawn_at=at, withdrawn_by=by)
    typed = _replaced(figures)
    again = [typed[one.pk] for one in figures if one.pk in typed]
    for one in again:
        one.pk, one.received_at, one.withdrawn_at, one.withdrawn_by = None, at, None, None
    BankFigure.objects.bulk_create(again)
    holds = {one.deposit_id: one for one in again}
    _settle({one.deposit: holds.get(one.deposit_id) for one in figures}, by, at)


def _replaced(figures: Iterable[BankFigure]) -> dict[int, BankFigure]:
    """The figures whose places these took, by the numbers of these."""
    then = {(one.deposit_id, one.received_at): one.pk for one in figures}
    older = BankFigure.objects.filter(deposit__in=[deposit for deposit, _ in then], source=None)
    places = [(then.get((one.deposit_id, one.withdrawn_at)), one) for one in older]
    return {pk: one for pk, one in places if pk}


def _settle(figures: Mapping[Deposit, BankFigure | None], by: Any, at: datetime) -> None:
    """Bring the moves between bank and over and short to what the bank's figures of deposits say."""
    sources = [deposit.uuid for deposit in figures]
    off = CashMove.objects.standing().filter(source__in=sources, bag=None)
    reverse(moves=off, by=by, at=at)
    append(moves=[_off(deposit, figure) for deposit, figure in figures.items() if figure], by=by, at=at)


def _off(deposit: Deposit, figure: BankFigure) -> CashMove:
    difference = figure.cents - deposit.cents
    over = difference > 0
    return CashMove(
        from_purse=Purse.OVER_SHORT if over else Purse.BANK,
        to_purse=Purse.BANK if over else Purse.OVER_SHORT,
        cents=abs(difference),
        day=clock.local_day(deposit.at, timezone.get_current_timezone_name()),
        source=deposit.uuid,
        at=deposit.at,
        reason=f"the bank found {money.as_text(figure.cents)}: {figure.reason}"[:200],
    )
