"""Money spent, trips driven and their rates. What was wrong is reversed and written down anew."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.cash import actions as cash
from routeapp.cash.models import Bag, CashMove, Holder, Purse
from routeapp.expenses import queries
from routeapp.expenses.models import Expense, MileageRate, Trip
from routeapp.kit import audit, clock, money
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same

MIDDAY = timedelta(hours=12)


@transaction.atomic
def spend(
    *,
    uuid: UUID,
    day: date,
    category: str,
    what: str,
    cents: int,
    paid_from: str,
    zone: str,
    bag: Bag | None = None,
    machine: Machine | None = None,
    location: Location | None = None,
    receipt: bytes | None = None,
    replaces: Expense | None = None,
    by: Any,
    at: datetime,
) -> Expense:
    """Note money spent on a day; the same form again changes nothing. `at` is when it was written down.

    With `replaces` the wrong one is withdrawn and its money put back first. Refuses more than a bag holds, a
    correction of what was withdrawn or corrected before, and one that puts money into a bag at the bank.
    """
    lock("expense", uuid)
    said = {"day": day, "category": category, "what": what, "cents": cents, "paid_from": paid_from, "bag": bag}
    said |= {"machine": machine, "location": location, "replaces": replaces}
    if made := Expense.objects.filter(uuid=uuid).first():
        return same(made, **said)
    if replaces:
        _take_back(replaces, by, at)
    happened = _moment(day, zone, replaces, at)
    facts: dict[str, Any] = {"machine": machine, "location": location, "bag": bag, "at": happened}
    pay(purse=paid_from, to=Purse.COSTS, cents=cents, day=day, source=uuid, reason=what, by=by, received_at=at, **facts)
    expense = Expense(uuid=uuid, **said, at=happened, by=by, received_at=at, source=uuid)
    if receipt:
        expense.receipt.save(f"{uuid}.jpg", ContentFile(receipt), save=False)
    elif replaces:
        expense.receipt = replaces.receipt
    expense.save(force_insert=True)
    audit.record("corrected the expense" if replaces else "noted the expense", expense, by=by, at=at)
    return expense


def _moment(day: date, zone: str, replaces: Expense | None, at: datetime) -> datetime:
    """When on its day money was spent: as before in a correction, now if it is today, else at midday."""
    if replaces and replaces.day == day:
        return replaces.at
    return at if clock.local_day(at, zone) == day else clock.start_of_day(day, zone) + MIDDAY


def pay(
    *,
    purse: str,
    to: Purse,
    cents: int,
    bag: Bag | None,
    by: Any,
    at: datetime,
    received_at: datetime,
    **facts: Any,
) -> None:
    """Move money out of a purse. Refuses to take more out of a bag than it holds, and any from one at the bank."""
    if bag:
        Bag.objects.select_for_update().get(pk=bag.pk)
        there = queries.bag_with_money(bag)
        if there.holder == Holder.BANK or there.holds < cents:
            holds = "It is at the bank." if there.holder == Holder.BANK else f"It holds {money.as_text(there.holds)}."
            raise Refused(f"That cannot come out of {bag}. {holds}", "bag")
    move = CashMove(from_purse=purse, to_purse=to, cents=cents, bag=bag, at=at, **facts)
    cash.append(moves=[move], by=by, at=received_at)
    cash.settle_bags(bags=[bag] if bag else [], by=by, at=received_at)


def _take_back(expense: Expense, by: Any, at: datetime) -> None:
    if not Expense.objects.live().filter(pk=expense.pk).update(withdrawn_at=at, withdrawn_by=by):
        raise Refused("This expense was withdrawn or corrected before. Open the newest one.")
    put_back(source=expense.uuid, bag=expense.bag, by=by, at=at)


def put_back(*, source: UUID, bag: Bag | None, by: Any, at: datetime) -> None:
    """Move what was paid for an expense or refund back to where it was. Refuses a bag that is at the bank."""
    if bag:
        Bag.objects.select_for_update().get(pk=bag.pk)
        if queries.bag_with_money(bag).holder == Holder.BANK:
            raise Refused("This bag is at the bank already. Take it back from there first.")
    cash.take_back(sources=[source], by=by, at=at)
    cash.settle_bags(bags=[bag] if bag else [], by=by, at=at)


@transaction.atomic
def withdraw_expense(*, expense: Expense, by: Any, at: datetime) -> None:
    """Take back an expense that was none; its money is where it was. Refuses one taken back before, and one out of a
    bag that is at the bank."""
    _take_back(expense, by, at)
    audit.record("withdrew the expense", expense, by=by, at=at)


@transaction.atomic
def note_trip(
    *,
    uuid: UUID,
    day: date,
    driver: Any,
    way: str,
    purpose: str,
    tenths: int,
    unit: str,
    measured: bool,
    by: Any,
    at: datetime,
) -> Trip:
    """Note a drive for the business; the same form again changes nothing. It moves no money."""
    facts = {"day": day, "driver": driver, "way": way, "purpose": purpose, "measured": measured}
    more = {"tenths": tenths, "unit": unit, "by": by, "at": at, "received_at": at, "source": uuid}
    trip, made = Trip.objects.get_or_create(uuid=uuid, defaults=facts | more)
    same(trip, tenths=tenths, unit=unit, **facts)
    if made:
        audit.record("noted the trip", trip, by=by, at=at)
    return trip


@transaction.atomic
def withdraw_trip(*, trip: Trip, by: Any, at: datetime) -> None:
    if Trip.objects.live().filter(pk=trip.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record("withdrew the trip", trip, by=by, at=at)


@transaction.atomic
def set_rate(
    *, valid_from: date, valid_to: date | None, unit: str, hundredths: int, note: str, by: Any, at: datetime
) -> MileageRate:
    """Write down what driving is worth from a day on. Refuses a second rate that starts on the same day."""
    lock("mileage rates")
    if MileageRate.objects.live().filter(valid_from=valid_from).exists():
        raise Refused("A rate from that day on is written down already. Withdraw it first.", "valid_from")
    facts = {"valid_to": valid_to, "unit": unit, "hundredths": hundredths, "note": note}
    rate = MileageRate.objects.create(valid_from=valid_from, **facts, by=by, at=at, received_at=at)
    audit.record("wrote down", rate, by=by, at=at)
    return rate


@transaction.atomic
def withdraw_rate(*, rate: MileageRate, by: Any, at: datetime) -> None:
    if MileageRate.objects.live().filter(pk=rate.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record("withdrew", rate, by=by, at=at)
