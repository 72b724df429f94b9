"""Who can drive, in what, and when; what people want of all plans."""

from datetime import date

from django.contrib.auth import get_user_model
from django.db.models import Q, QuerySet

from locations.sites.models import Weekday
from routeapp.kit.access import OWNER, ROUTE_HAND
from routeapp.planning.models_rounds import Driver, Pin, Shift, Vehicle, Wish


def people() -> QuerySet:
    """Everybody who may drive a round, with how they drive where somebody said so."""
    hands = get_user_model().objects.filter(is_active=True, groups__name__in=[OWNER, ROUTE_HAND]).distinct()
    return hands.select_related("driver__vehicle").prefetch_related("driver__shifts").order_by("first_name", "username")


def drivers() -> QuerySet:
    """Those who drive now, with their shifts."""
    found = Driver.objects.filter(retired=False, person__is_active=True).select_related("person", "vehicle")
    return found.prefetch_related("shifts")


def driver_of(person: object) -> Driver | None:
    return drivers().filter(person=person).first()


def most_driving(person_id: int) -> int | None:
    """Minutes at the wheel a day that were written down as the most; None without any."""
    return Driver.objects.filter(person=person_id).values_list("most_driving", flat=True).first()


def vehicles() -> QuerySet:
    return Vehicle.objects.all()


def shift_on(driver: Driver, day: date) -> Shift | None:
    """The shift on a day, read off what `drivers` prefetched."""
    return next((one for one in driver.shifts.all() if one.weekday == day.weekday()), None)


def shifts_in_words(driver: Driver | None) -> str:
    """“Monday 08:00–16:00, Tuesday …”."""
    shifts = driver.shifts.all() if driver else []
    return ", ".join(f"{Weekday(one.weekday).label} {one.starts:%H:%M}–{one.ends:%H:%M}" for one in shifts)


def pins(day: date) -> QuerySet:
    """What people want of plans, as far as it holds on or after a day."""
    over = Q(wish=Wish.NOT_BEFORE, day__lte=day)
    return Pin.objects.live().exclude(over).select_related("location", "by")
