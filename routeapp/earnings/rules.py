"""Which days a page speaks of, with which earlier days it compares them, and how to say so."""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from routeapp.kit.clock import month_start, week_start
from routeapp.kit.money import half_up

FIRST_DAY = date(2000, 1, 1)
LONGEST_DAYS = 371  # 53 weeks: more than a year of visits is too much to add up while somebody waits


@dataclass(frozen=True)
class Span:
    """Days from `since` to `until`, both included, in each location's own calendar."""

    since: date
    until: date

    @property
    def days(self) -> int:
        return (self.until - self.since).days + 1

    def is_month(self) -> bool:
        return self.since.day == 1 and self.until == _month_end(self.since)


def _month_end(day: date) -> date:
    return day.replace(day=monthrange(day.year, day.month)[1])


def this_week(today: date) -> Span:
    return Span(week_start(today), today)


def last_week(today: date) -> Span:
    monday = week_start(today) - timedelta(days=7)
    return Span(monday, monday + timedelta(days=6))


def this_month(today: date) -> Span:
    return Span(month_start(today), today)


def last_month(today: date) -> Span:
    end = month_start(today) - timedelta(days=1)
    return Span(month_start(end), end)


def twelve_weeks(today: date) -> Span:
    """The last twelve weeks that are over."""
    sunday = week_start(today) - timedelta(days=1)
    return Span(sunday - timedelta(days=83), sunday)


def twelve_months(today: date) -> Span:
    """The last twelve months that are over."""
    end = month_start(today) - timedelta(days=1)
    return Span(month_start(today).replace(year=today.year - 1), end)


def last_quarter(today: date) -> Span:
    """The last three months of the calendar that are over, from January, April, July or October on."""
    end = today.replace(month=(today.month - 1) // 3 * 3 + 1, day=1) - timedelta(days=1)
    return Span(end.replace(month=end.month - 2, day=1), end)


NAMED = {
    "this-week": ("This week", this_week),
    "last-week": ("Last week", last_week),
    "this-month": ("This month", this_month),
    "last-month": ("Last month", last_month),
    "last-quarter": ("Last quarter", last_quarter),
    "12-weeks": ("Last 12 weeks", twelve_weeks),
    "12-months": ("Last 12 months", twelve_months),
}


def days_between(since: date, until: date) -> tuple[Span, str]:
    """The span somebody typed, mended where it must be, and a sentence on what was mended."""
    if until < since:
        return days_between(until, since)[0], "The first day was after the last one, so they were exchanged."
    if (until - since).days >= LONGEST_DAYS:
        span = Span(until - timedelta(days=LONGEST_DAYS - 1), until)
        return span, "That is more than 53 weeks. These are the last 53 weeks of it."
    return Span(since, until), ""


def before(span: Span) -> Span:
    """The days to compare with: the same part of the month before, or of the weeks before, else just as many days."""
    if span.since.day == 1 and span.until <= _month_end(span.since):
        since = month_start(span.since - timedelta(days=1))
        end = _month_end(since)
        return Span(since, end if span.is_month() else min(end, since + timedelta(days=span.days - 1)))
    step = timedelta(days=-(-span.days // 7) * 7 if span.since.weekday() == 0 else span.days)
    return Span(span.since - step, span.until - step)


def in_words(span: Span, today: date) -> str:
    """When that was, to follow an amount: “in October”, “from 3 to 9 November”, with the year when it is another."""
    one_year = span.since.year == span.until.year
    year = "" if one_year and span.until.year == today.year else f" {span.until.year}"
    if span.is_month():
        return f"in {span.since:%B}{year}"
    end = f"{span.until.day} {span.until:%B}{year}"
    if span.days == 1:
        return f"on {end}"
    if (span.since.year, span.since.month) == (span.until.year, span.until.month):
        return f"from {span.since.day} to {end}"
    return f"from {span.since.day} {span.since:%B}{'' if one_year else f' {span.since.year}'} to {end}"


def comparison(now: int, then: int, when: str) -> str:
    """How an amount compares with an earlier one: “6 % more than in September”. `when` says when that was."""
    if then <= 0:
        return f"nothing was taken {when}{'' if now else ' either'}"
    percent = half_up(Fraction((now - then) * 100, then))
    if percent == 0:
        return f"as much as {when}"
    return f"{abs(percent):,} % {'more' if percent > 0 else 'less'} than {when}"
