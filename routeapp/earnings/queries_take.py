"""Take added up in the database: by week, by location, over any days."""

from datetime import date, timedelta
from typing import Any

from django.db.models import DateField, Func, QuerySet

from routeapp.cash.models import CashMove
from routeapp.cash.queries import TAKE, card_sales, take
from routeapp.earnings.rules import Span


class Monday(Func):
    """The Monday of the week of a date column. Django's TruncWeek calls back into Python for every row of SQLite."""

    output_field = DateField()

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(compiler, connection, template="DATE(%(expressions)s, 'weekday 0', '-6 days')", **context)

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(compiler, connection, template="DATE_TRUNC('week', %(expressions)s)::date", **context)


def take_of(since: date, until: date, **only: Any) -> QuerySet:
    """The moves that are take from `since` to `until`, both included, of one cabinet or location if `only` says so."""
    return take(CashMove.objects.filter(**only, day__gte=since, day__lte=until)).order_by()


def take_by_week(since: date, until: date, **only: Any) -> dict[date, int]:
    """Minor units by Monday, of everything or of one cabinet or location."""
    return dict(take_of(since, until, **only).values_list(Monday("day")).annotate(cents=TAKE))


def take_of_weeks(first: date, number: int, **only: Any) -> list[tuple[Span, int]]:
    """So many weeks from a Monday on, each with its take."""
    weeks = [Span(monday, monday + timedelta(days=6)) for monday in (first + timedelta(weeks=n) for n in range(number))]
    found = take_by_week(first, weeks[-1].until, **only)
    return [(week, found.get(week.since, 0)) for week in weeks]


def take_by(key: str, since: date, until: date) -> dict[int, int]:
    """Minor units by "location" or "machine"."""
    return dict(take_of(since, until).values_list(key).annotate(cents=TAKE))


def by_card_between(since: date, until: date, **only: Any) -> int:
    """What of the take was paid by card."""
    return card_sales(take_of(since, until, **only)).aggregate(cents=TAKE)["cents"] or 0


def take_between(since: date, until: date, **only: Any) -> int:
    return take_of(since, until, **only).aggregate(cents=TAKE)["cents"] or 0
