"""Stretches of days: the periods in which a host is settled with, and parts of weeks and months.

All days belong to the location's own calendar.
"""

from calendar import monthrange
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from routeapp.kit.choices import TextChoices

DAY = timedelta(days=1)


class Period(TextChoices):
    VISIT = "visit", "at each visit"
    WEEK = "week", "every week"
    FORTNIGHT = "fortnight", "every two weeks"
    MONTH = "month", "every month"
    LAST = "last", "on the last Friday of every month"
    QUARTER = "quarter", "every quarter"


class Per(TextChoices):
    """What a sum is agreed for."""

    WEEK = "week", "a week"
    MONTH = "month", "a month"


class Stretch(NamedTuple):
    """Days from `since` to `until`, both included."""

    since: date
    until: date

    @property
    def days(self) -> int:
        return (self.until - self.since).days + 1

    def within(self, since: date, until: date | None) -> "Stretch | None":
        """What of it lies between two days, both included; None where nothing does. No `until`: without an end."""
        first, last = max(self.since, since), self.until if until is None else min(self.until, until)
        return Stretch(first, last) if first <= last else None


class Rhythm(NamedTuple):
    """How often one settles. `anchor` is the last day of one period; the others follow from it: its weekday for
    weeks and for “the last Friday of the month”, the very weeks for two weeks. Without it a week ends on Sunday, and
    the month is settled on its last Friday. Months and quarters are those of the calendar."""

    kind: str
    anchor: date | None = None

    @property
    def weekday(self) -> int:
        """0 is Monday."""
        if self.anchor is not None:
            return self.anchor.weekday()
        return 4 if self.kind == Period.LAST else 6


def month_end(day: date) -> date:
    return day.replace(day=monthrange(day.year, day.month)[1])


def last_weekday(day: date, weekday: int) -> date:
    """The last Monday (0) to Sunday (6) of the month of `day`."""
    end = month_end(day)
    return end - timedelta(days=(end.weekday() - weekday) % 7)


@lru_cache(maxsize=10_000)
def period_end(rhythm: Rhythm, day: date) -> date:
    """The last day of the period that `day` lies in. Raises ValueError for settling at each visit."""
    match rhythm.kind:
        case Period.WEEK:
            return day + timedelta(days=(rhythm.weekday - day.weekday()) % 7)
        case Period.FORTNIGHT:
            sunday = date(2000, 1, 2)
            return day + timedelta(days=((rhythm.anchor or sunday) - day).days % 14)
        case Period.MONTH:
            return month_end(day)
        case Period.QUARTER:
            return month_end(day.replace(month=(day.month + 2) // 3 * 3, day=1))
        case Period.LAST:
            end = last_weekday(day, rhythm.weekday)
            return end if day <= end else last_weekday(month_end(day) + DAY, rhythm.weekday)
    raise ValueError("What is settled at each visit has no periods without the visits.")


def period_on(rhythm: Rhythm, day: date) -> Stretch:
    """The period of the calendar that a day lies in."""
    end = period_end(rhythm, day)
    if rhythm.kind in (Period.WEEK, Period.FORTNIGHT):
        return Stretch(end - timedelta(days=6 if rhythm.kind == Period.WEEK else 13), end)
    if rhythm.kind == Period.LAST:
        return Stretch(last_weekday(end.replace(day=1) - DAY, rhythm.weekday) + DAY, end)
    months = 3 if rhythm.kind == Period.QUARTER else 1
    return Stretch(end.replace(month=end.month - months + 1, day=1), end)


def periods(rhythm: Rhythm, since: date, until: date, visits: Iterable[date] = ()) -> list[Stretch]:
    """The whole periods that touch the days from `since` to `until`, oldest first.

    With settling at each visit a period ends on a day with a visit and begins the day after the visit before, or on
    `since`; what comes after the last visit is not due yet. Two visits of one day are settled as one.
    """
    if rhythm.kind == Period.VISIT:
        ends = sorted({day for day in visits if since <= day <= until})
        return [Stretch(before + DAY, end) for before, end in pairwise([since - DAY, *ends])]
    return list(_periods(rhythm, since, until))


def _periods(rhythm: Rhythm, since: date, until: date) -> Iterator[Stretch]:
    day = since
    while day <= until:
        found = period_on(rhythm, day)
        yield found
        day = found.until + DAY


def part_of(per: str, stretch: Stretch) -> Fraction:
    """How many weeks or months of the calendar a stretch is: 10 to 24 June is 15/30 of a month.

    Parts of a stretch add up to the stretch, also where it runs over months of different lengths.
    """
    if per == Per.WEEK:
        return Fraction(stretch.days, 7)
    months = _periods(Rhythm(Period.MONTH), stretch.since, stretch.until)
    inside = ((month, month.within(stretch.since, stretch.until)) for month in months)
    return sum((Fraction(part.days, month.days) for month, part in inside if part), Fraction(0))


def cut(stretch: Stretch, starts: Sequence[date]) -> list[Stretch]:
    """A stretch cut in front of each of these days."""
    inside = sorted({day for day in starts if stretch.since < day <= stretch.until})
    bounds = [stretch.since, *inside, stretch.until + DAY]
    return [Stretch(first, following - DAY) for first, following in pairwise(bounds)]
