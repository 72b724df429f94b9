"""Bags filled, handed over, counted and banked; every amount as a move from one purse to another."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import F, Q, QuerySet

from routeapp.cash import queries, queries_bag, queries_bank, rules
from routeapp.cash.models import Bag, BagCount, BagMove, CashMove, Holder, How, Purse
from routeapp.kit import audit, clock, money
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.prepared import Prepared, insert, insert_again, row, update

LARGEST_AMOUNT = 100_000_000  # minor units; more than a van carries


def get_bags(
    *, said: Iterable[Bag], rename: Iterable[UUID], by: Any, at: datetime
) -> tuple[dict[UUID, Bag], list[Bag]]:
    """Bags by their ids, and those of them that stood in the books before. `said` are unsaved bags as a visit tells
    of them, with who filled them; those not known yet are kept and are with that person. Ids in `rename` let a
    corrected visit say anew what its bag is. `at` is when this was received. Call it with the ids locked; the older
    bags are locked here."""
    told = {bag.uuid: bag for bag in said}
    older = _bags_of(list(told))
    found = {bag.uuid: bag for bag in older}
    new = [bag for bag in told.values() if bag.uuid not in found]
    for bag in new:
        bag.received_at = at
    insert(new)
    who = {"holder": Holder.PERSON, "by_id": by.pk, "received_at": at}
    insert(row(BagMove, bag_id=bag.pk, at=bag.at, person_id=bag.by_id, **who) for bag in new)
    renamed = [told[uuid] for uuid in sorted(found.keys() & set(rename))]
    for bag in renamed:
        bag.pk, bag.received_at = found[bag.uuid].pk, found[bag.uuid].received_at
    update(renamed, "number", "location", "sealed", "at", "by")
    return found | {bag.uuid: bag for bag in (*new, *renamed)}, older


_bags_of = Prepared(lambda ids: Bag.objects.select_for_update().filter(uuid__in=ids).order_by("pk"), list)


def append(*, moves: Sequence[CashMove], by: Any, at: datetime) -> None:
    """Save unsaved moves, each with its own moment; `at` is when they were received. Leaves out empty ones."""
    kept = [move for move in moves if move.cents]
    for move in kept:
        if not 0 < move.cents <= LARGEST_AMOUNT:
            raise Refused("That amount is too large to be meant.", "cents")
        move.by_id, move.received_at = by.pk, at
    insert(kept)


def take_back(*, sources: Iterable[UUID] | QuerySet, by: Any, at: datetime) -> None:
    """Reverse every move that the documents `sources` (ids, or a query for them) brought. Refuses what a row of the
    bank's statement is matched to, unless it is the match itself that is taken back."""
    wanted = sources if isinstance(sources, QuerySet) else list(sources)
    standing = CashMove.objects.standing().filter(source__in=wanted).order_by("pk")
    if standing.filter(Q(from_purse=Purse.BANK) | Q(to_purse=Purse.BANK)).exists():
        lock("bank")
        if queries_bank.are_matched(standing.order_by()):
            raise Refused("A row of the bank's statement is matched to this. Take that match apart first, under Bank.")
    ends = {"from_purse": F("to_purse"), "to_purse": F("from_purse")}
    insert_again(standing, **ends, reverses=F("pk"), by=by.pk, received_at=at)


def reverse(*, moves: Iterable[CashMove], by: Any, at: datetime) -> None:
    """Undo moves that stand by equal ones the other way."""
    append(moves=[_reversed(move) for move in moves], by=by, at=at)


def _reversed(move: CashMove) -> CashMove:
    return CashMove(
        from_purse=move.to_purse,
        to_purse=move.from_purse,
        cents=move.cents,
        day=move.day,
        machine_id=move.machine_id,
        location_id=move.location_id,
        bag_id=move.bag_id,
        entry=move.entry,
        source=move.source,
        at=move.at,
        reason=move.reason,
        reverses=move,
    )


@transaction.atomic
def count_bag(
    *,
    uuid: UUID,
    bag: Bag,
    how: How,
    cents: int,
    lines: dict[str, int],
    note: str,
    by: Any,
    at: datetime,
    received_at: datetime,
    second: Any = None,
) -> BagCount:
    """Note what a bag held, counted by one person or with a `second`. The newest count holds; the same `uuid` again
    changes nothing. Blind counts that waited for it are settled by it.

    For a sealed bag this is the take of the cabinets in it; for cash counted at the site the difference goes
    over or short. Refuses amounts too large to be meant, and an id that another count has.
    """
    if not 0 <= cents <= LARGEST_AMOUNT:
        raise Refused("That amount is too large to be meant.", "sum")
    if second == by:
        raise Refused("The second counter is somebody else.", "second")
    bag = Bag.objects.select_for_update().get(pk=bag.pk)
    facts = {"bag": bag, "how": how, "cents": cents, "lines": lines, "note": note, "second": second}
    count, made = BagCount.objects.get_or_create(
        uuid=uuid, defaults={**facts, "by": by, "at": at, "received_at": received_at}
    )
    if (count.bag_id, count.cents, count.lines) != (bag.pk, cents, lines):
        kept = money.as_text(count.cents)
        raise Refused(f"This page was sent before and {kept} was kept. Open “Count” again to note another sum.")
    if made:
        bag.blind_counts.filter(settled_by=None, withdrawn_at=None).update(settled_by=count)
        settle_bag(bag=bag, by=by, at=received_at)
        audit.record("counted", bag, by=by, at=received_at)
    return count


@transaction.atomic
def hold_to_bank(*, bag: Bag, by: Any, at: datetime) -> None:
    """Say that a bag held what went to the bank, whatever was corrected since: the difference goes over or short.

    Changes nothing where there is none. Refuses a bag that is elsewhere, and one that took money off others.
    """
    found = _locked(bag.pk)
    cents = queries_bag.banked_cents(found)
    if found.holder != Holder.BANK or cents <= 0:
        raise Refused("No money of this bag went to the bank. Count it instead.")
    if found.holds:
        said: dict[str, Any] = {"how": How.AMOUNT, "lines": {}, "note": "as it went to the bank"}
        count_bag(uuid=uuid4(), bag=found, cents=cents, by=by, at=at, received_at=at, **said)


def _locked(pk: int) -> Any:
    """A bag with what it holds, read after it is locked: sums read while waiting for the lock are old ones."""
    Bag.objects.select_for_update().get(pk=pk)
    return queries.bags().get(pk=pk)


@transaction.atomic
def withdraw_count(*, count: BagCount, by: Any, at: datetime) -> None:
    """Take a wrong count back; the one before it, if any, holds again. Refuses while the bag is at the bank."""
    bag = _locked(count.bag_id)
    if bag.holder == Holder.BANK:
        raise Refused("This money is at the bank already. If that is wrong, take it back from there first.")
    if BagCount.objects.live().filter(pk=count.pk).update(withdrawn_at=at, withdrawn_by=by):
        settle_bag(bag=bag, by=by, at=at)
        audit.record("withdrew a count of", bag, by=by, at=at)


@transaction.atomic
def settle_bag(*, bag: Bag, by: Any, at: datetime) -> None:
    """Bring the moves that follow from a bag's newest count to what they must be now; changes nothing when they are."""
    standing = CashMove.objects.standing().filter(source=bag.uuid)
    wanted = _moves_of_count(bag)
    if sorted(map(_shape, standing)) != sorted(map(_shape, wanted)):
        reverse(moves=standing, by=by, at=at)
        append(moves=wanted, by=by, at=at)


@transaction.atomic(savepoint=False)
def settle_bags(*, bags: Iterable[Bag], by: Any, at: datetime) -> None:
    """After a visit changed what was put into bags: settle those of them that were counted before."""
    # Locked, because a count under way must end before it can be seen.
    changed = _bags_to_lock([bag.pk for bag in bags])
    counted = {bag for (bag,) in _counted([bag.pk for bag in changed])}
    for bag in changed:
        if bag.pk in counted:
            settle_bag(bag=bag, by=by, at=at)


_bags_to_lock = Prepared(lambda bags: Bag.objects.select_for_update().filter(pk__in=bags).order_by("pk"), list)
_counted = Prepared(
    lambda bags: BagCount.objects.filter(withdrawn_at=None, bag__in=bags).order_by().values_list("bag"), list
)


def _shape(move: CashMove) -> tuple:
    return move.from_purse, move.to_purse, move.cents, str(move.entry), move.machine_id or 0, move.at, move.day


def _moves_of_count(bag: Bag) -> list[CashMove]:
    count = bag.counts.filter(withdrawn_at=None).order_by("-at", "-uuid").first()
    if count is None:
        return []
    difference = count.cents - queries.noted_cents(bag) - queries.spent_since(bag)(count.at)
    contents = list(bag.contents.filter(withdrawn_at=None).order_by("at", "source"))
    if contents and difference >= 0:
        shares = rules.share_out(difference, [one.estimate_cents for one in contents])
        return [move for one, share in zip(contents, shares, strict=True) if share for move in _take(one, share)]
    day = clock.local_day(count.at, bag.location.time_zone)
    ends = (Purse.OVER_SHORT, Purse.BAG) if difference > 0 else (Purse.BAG, Purse.OVER_SHORT)
    reason = "counted more than was noted at the site" if difference > 0 else "counted less than was noted at the site"
    move = CashMove(
        from_purse=ends[0],
        to_purse=ends[1],
        cents=abs(difference),
        day=day,
        location=bag.location,
        bag=bag,
        source=bag.uuid,
        at=count.at,
        reason=reason,
    )
    return [move] if difference else []


def _take(sealed: Any, cents: int) -> list[CashMove]:
    return take_moves(
        machine_id=sealed.machine_id,
        location_id=sealed.location_id,
        bag=sealed.bag,
        cents=cents,
        entry=sealed.source,
        source=sealed.bag.uuid,
        moment=sealed.at,
        day=sealed.day,
    )


def take_moves(
    *, machine_id: int, location_id: int, bag: Bag, cents: int, entry: UUID, source: UUID, moment: datetime, day: Any
) -> list[CashMove]:
    """Money from the players through a cabinet's cash box into a bag, as unsaved moves."""
    facts = {
        "machine_id": machine_id,
        "location_id": location_id,
        "cents": cents,
        "entry": entry,
        "source": source,
        "at": moment,
        "day": day,
    }
    return [
        row(CashMove, from_purse=Purse.PLAYERS, to_purse=Purse.BOX, **facts),
        row(CashMove, from_purse=Purse.BOX, to_purse=Purse.BAG, bag=bag, **facts),
    ]


@transaction.atomic
def hand_over(*, bag: Bag, holder: Holder, person: Any, by: Any, at: datetime, received_at: datetime) -> BagMove:
    """Note who has a bag now: a person or the safe; changes nothing when they have it.

    Refuses a person without a name, and a bag that is at the bank.
    """
    if (holder == Holder.PERSON) != (person is not None):
        raise Refused("Say who took the bag.", "person")
    bag = Bag.objects.select_for_update().get(pk=bag.pk)
    last = bag.whereabouts.live().first()
    if last and last.holder == Holder.BANK:
        raise Refused("This bag is at the bank.")
    if last and (last.holder, last.person) == (holder, person):
        return last
    if told := bag.whereabouts.live().filter(holder=holder, person=person, at=at).first():
        return told
    moved = BagMove.objects.create(bag=bag, holder=holder, person=person, by=by, at=at, received_at=received_at)
    audit.record("handed over", bag, by=by, at=received_at)
    return moved
