"""Money that came in on days on which nothing was agreed: nobody is settled with for it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from locations.agreements.rules_periods import Stretch
from locations.sites.models import Location
from routeapp.kit import clock
from routeapp.settlements import rules
from routeapp.settlements.queries import settled
from routeapp.settlements.queries_brought import agreed, with_days
from routeapp.settlements.rules import WithoutTerms


@dataclass(frozen=True)
class Unagreed(WithoutTerms):
    """Money of one location that came in without terms."""

    location: Location


LOOK_BACK = timedelta(days=370)


def unagreed(now: datetime, only: Iterable[int] | None = None) -> list[Unagreed]:
    """What came in during the last year without terms, on days that stand on no paper."""
    locations = Location.objects.select_related("host")
    found = {row.pk: row for row in (locations if only is None else locations.filter(pk__in=list(only)))}
    books, (covered, _) = agreed(found), settled(found)
    wanted: dict[int, list[Stretch]] = {}
    for pk, location in found.items():
        until = clock.local_day(now, location.time_zone)
        papers = [Stretch(one.since, one.until) for one in covered.get(pk, ())]
        gaps = rules.uncovered(until - LOOK_BACK, until, papers)
        if open_ones := [gap for gap in gaps if not books.all_agreed(pk, [gap])]:
            wanted[pk] = open_ones
    books = with_days(books, wanted, found)
    return [
        Unagreed(one.stretch, one.cents, found[pk])
        for pk, gaps in wanted.items()
        for gap in gaps
        for one in books.without_terms(pk, gap)
    ]
