"""What past visits teach a planner: how long stops take, how long it is from one to the next, who goes where when."""

from collections import defaultdict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median
from zoneinfo import ZoneInfo

from django.db.models import Count, Q

from machines.faults.models import FaultFix
from routeapp.planning import rules_service
from routeapp.planning.rules_habit import Been, Habit, habit_of
from routeapp.planning.rules_service import Pace, Work
from routeapp.visits.models import CashTaken, ServiceEntry, Visit

LOOK_BACK = timedelta(weeks=26)
LONGEST_LEG = timedelta(hours=2)  # more between two stops holds a meal or an errand
LEAST_TIMES = 2  # so often a way was driven before what it took is believed


@dataclass(frozen=True)
class Driven:
    """One past visit, by the clock of its location."""

    id: Hashable
    location: int
    person: int
    came: datetime
    left: datetime
    work: Work

    @property
    def minutes(self) -> float:
        return (self.left - self.came) / timedelta(minutes=1)

    @property
    def been(self) -> Been:
        return Been(self.person, self.came.date(), self.came.hour * 60 + self.came.minute)


def driven(now: datetime) -> list[Driven]:
    """The visits of the last half year in the order they were made."""
    rows = Visit.objects.live().filter(at__gte=now - LOOK_BACK, at__lt=now, void=False)
    boxes = Count("entries", filter=~Q(entries__cash=CashTaken.NOT_TAKEN))
    rows = rows.annotate(cabinets=Count("entries"), boxes=boxes).order_by("at", "pk")
    columns = ("pk", "location", "made_by", "at", "departed_at", "location__time_zone", "cabinets", "boxes")
    fixed = _fixed(now)
    return [
        Driven(
            pk,
            location,
            person,
            at.astimezone(ZoneInfo(zone)),
            left.astimezone(ZoneInfo(zone)),
            Work(cabinets, boxes, fixed.get(pk, 0)),
        )
        for pk, location, person, at, left, zone, cabinets, boxes in rows.values_list(*columns)
    ]


def _fixed(now: datetime) -> dict[Hashable, int]:
    """Faults fixed by visit."""
    sources = FaultFix.objects.live().filter(at__gte=now - LOOK_BACK, source__isnull=False).values("source")
    entries = ServiceEntry.objects.filter(pk__in=sources).order_by().values_list("visit").annotate(many=Count("pk"))
    return dict(entries)


def pace(visits: Sequence[Driven]) -> Pace:
    return rules_service.learn([(one.location, one.work, one.minutes) for one in visits])


def habits(visits: Sequence[Driven]) -> dict[int, Habit]:
    return {location: habit for location, been in been_by_place(visits).items() if (habit := habit_of(been))}


def been_by_place(visits: Sequence[Driven]) -> dict[int, list[Been]]:
    found: dict[int, list[Been]] = defaultdict(list)
    for one in visits:
        found[one.location].append(one.been)
    return found


def legs(visits: Sequence[Driven]) -> Mapping[tuple[int, int], int]:
    """Seconds from one location to the next as our own people drove it: the middle of those of one person and day."""
    took: dict[tuple[int, int], list[float]] = defaultdict(list)
    last: dict[int, Driven] = {}
    for one in visits:
        before = last.get(one.person)
        if before and before.came.date() == one.came.date() and before.location != one.location:
            gap = one.came - before.left
            if timedelta() < gap <= LONGEST_LEG:
                took[before.location, one.location].append(gap.total_seconds())
        last[one.person] = one
    return {way: round(median(each)) for way, each in took.items() if len(each) >= LEAST_TIMES}
