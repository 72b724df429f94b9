"""Writing down who drives what and when, and what people want of all plans."""

from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any

from django.db import transaction
from django.utils import timezone

from locations.sites.models import Location
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.rows import write
from routeapp.planning.models_rounds import Driver, DrivingCost, Pin, Shift, Vehicle

Hours = Mapping[int, tuple[time, time]]  # by weekday, Monday is 0


@transaction.atomic
def save_vehicle(
    *, vehicle: Vehicle | None, name: str, since: date | None = None, by: Any, at: datetime, **columns: Any
) -> Vehicle:
    """Add a vehicle or change it; before `since` (today) a kilometre costs what it did. Refuses a name another one
    has, and costs from a day to come."""
    _refuse_to_come(since, at)
    lock("vehicle", name.lower())
    if Vehicle.objects.filter(name__iexact=name).exclude(pk=vehicle.pk if vehicle else None).exists():
        raise Refused(f"There is a vehicle named “{name}” already.", "name")
    vehicle = Vehicle.objects.select_for_update().get(pk=vehicle.pk) if vehicle else Vehicle()
    is_new = columns.get("cents_per_km", vehicle.cents_per_km) != vehicle.cents_per_km
    if vehicle.pk and (is_new or since):
        for driver in Driver.objects.select_related("vehicle").filter(vehicle=vehicle):
            _keep_costs(driver, since or timezone.localdate(at), is_new)
    write(vehicle, {"name": name, **columns})
    audit.record("saved a vehicle", vehicle, by=by, at=at)
    return vehicle


@transaction.atomic
def save_driver(
    *, person: Any, hours: Hours, since: date | None = None, by: Any, at: datetime, **columns: Any
) -> Driver:
    """Write down how one person drives and their hours by weekday; before `since` (today) their trips cost what they
    did. Refuses hours that end before they start, and costs from a day to come."""
    _refuse_to_come(since, at)
    if any(ends <= starts for starts, ends in hours.values()):
        raise Refused("A shift ends before it starts.")
    before = Driver.objects.select_for_update(of=("self",)).select_related("vehicle").filter(person=person).first()
    now = Driver(**columns)
    is_new = before and (before.cents_per_hour, before.cents_per_km) != (now.cents_per_hour, now.cents_per_km)
    if before and (is_new or since):
        _keep_costs(before, since or timezone.localdate(at), is_new)
    driver, _ = Driver.objects.update_or_create(person=person, defaults=columns)
    driver.shifts.all().delete()
    Shift.objects.bulk_create(
        Shift(driver=driver, weekday=weekday, starts=starts, ends=ends) for weekday, (starts, ends) in hours.items()
    )
    audit.record("saved the shifts of", driver, by=by, at=at)
    return driver


def _refuse_to_come(since: date | None, at: datetime) -> None:
    if since and since > timezone.localdate(at):
        raise Refused(
            "Plans go by these costs at once, so they cannot hold from a day to come. Nothing was saved; write them "
            "down on that day.",
            "since",
        )


def _keep_costs(driver: Driver, since: date, is_new: bool) -> None:
    """The days before `since` keep what they cost, whatever is written down next. What is not new can only hold from
    an earlier day than was said before."""
    later = driver.past_costs.filter(before__gte=since)
    held = later.first() or driver
    if held is driver and not is_new:
        return
    kept = {"cents_per_hour": held.cents_per_hour, "cents_per_km": held.cents_per_km}
    later.delete()
    DrivingCost.objects.create(driver=driver, before=since, **kept)


@transaction.atomic
def pin(*, location: Location, wish: str, day: date, reason: str = "", by: Any, at: datetime) -> Pin:
    """Want something of all plans for a location; what was wanted of it before is lifted."""
    location = Location.objects.select_for_update().get(pk=location.pk)
    Pin.objects.live().filter(location=location).update(withdrawn_at=at, withdrawn_by=by)
    made = Pin.objects.create(location=location, wish=wish, day=day, reason=reason, by=by, at=at, received_at=at)
    audit.record("pinned", made, by=by, at=at)
    return made


@transaction.atomic
def lift(*, pin: Pin, by: Any, at: datetime) -> None:
    """Want it no longer. Lifted twice is lifted once."""
    if Pin.objects.live().filter(pk=pin.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record("lifted", pin, by=by, at=at)
