"""The round people drive today, read off their visits: how often each place is visited, by whom, at which hour.

A plan is compared with what driving on like this would cost and bring over the same days.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

from routeapp.planning.rules_plan import Shift

WEEK = timedelta(weeks=1)
WEEKS = 8  # of rounds that tell what a visit may cost; the bench of rounds uses as many
WEEKLY = 7.0  # of a place visited once or never; common practice, no source


@dataclass(frozen=True)
class Been:
    """One past visit: by whom, on which day, at which minute of it."""

    person: int
    day: date
    minute: int


@dataclass(frozen=True)
class Habit:
    """A place is visited every so many days, last on `last`, mostly by `person`, at about `minute` of the day."""

    every: float
    last: date
    person: int
    minute: float

    def next_on(self, first: date) -> date:
        """When it is due next, not before `first`."""
        return max(first, self.last + timedelta(days=round(self.every)))


def habit_of(visits: Sequence[Been]) -> Habit | None:
    """What past visits of one place show, in any order; None without any."""
    days = sorted({one.day for one in visits})
    if not days:
        return None
    gaps = [(after - before).days for before, after in zip(days, days[1:], strict=False)]
    people = [one.person for one in visits]
    person = max(sorted(set(people)), key=people.count)
    return Habit(median(gaps) if gaps else WEEKLY, days[-1], person, median(one.minute for one in visits))


def orders(habits: Mapping[int, Habit], shifts: Iterable[Shift]) -> dict[Shift, tuple[int, ...]]:
    """Where each shift would go if people drove on as they do, in the order of the usual hours.

    Who has no shift on the day drives on their next one; whom nobody plans for is driven by whoever has a shift first.
    """
    shifts = sorted(shifts, key=lambda one: (one[1], one[0]))
    if not shifts:
        return {}
    people = {person for person, _ in shifts}
    found: dict[Shift, list[int]] = {shift: [] for shift in shifts}
    for place, habit in habits.items():
        due = habit.next_on(shifts[0][1])
        fits = (one for one in shifts if one[1] >= due and (one[0] == habit.person or habit.person not in people))
        if (shift := next(fits, None)) is not None:
            found[shift].append(place)
    return {shift: tuple(sorted(places, key=lambda one: habits[one].minute)) for shift, places in found.items()}


def weeks_before(visits: Mapping[int, Sequence[Been]], shifts: Iterable[Shift]) -> list[dict[Shift, list[int]]]:
    """What the shifts of a plan's first week drove on the same weekdays of the weeks before, the last one first."""
    shifts = sorted(shifts, key=lambda one: one[1])
    first = [one for one in shifts if one[1] < shifts[0][1] + WEEK]
    driven: dict[Shift, dict[int, int]] = {}
    for place, each in visits.items():
        for one in each:
            driven.setdefault((one.person, one.day), {})[place] = one.minute
    weeks = []
    for back in range(1, WEEKS + 1):
        past = {(person, day): driven.get((person, day - back * WEEK), {}) for person, day in first}
        weeks.append({shift: sorted(places, key=lambda one: places[one]) for shift, places in past.items()})
    return weeks
