"""What all cabinets taught, kept for a week: it changes slowly, and working it out takes a second or two."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.core.cache import caches
from django.db.models import Max

from locations.placements.queries import standing
from machines.cabinets.models import Reading
from routeapp.kit import clock
from routeapp.planning.queries_intervals import History, histories
from routeapp.planning.rules_learn import Known, Learned, learn

TAUGHT_BY = timedelta(days=540)  # a season needs a year and a half to be told from luck
KEPT = 8 * 86_400
SECONDS_A_DAY = 86_400


def days_of(moment: datetime) -> float:
    """Days since 1970."""
    return moment.timestamp() / SECONDS_A_DAY


def known(history: History) -> Known:
    """A cabinet as the rules know it."""
    looks = [(days_of(one.start), days_of(one.end), one.plays, one.empty, one.down) for one in history.looks]
    machine = history.placement.machine
    return Known(machine.model.kind, history.placement.location_id, looks)


def learned(now: datetime) -> Learned:
    """What was learned this week, or is now."""
    newest = Reading.objects.aggregate(newest=Max("pk"))["newest"] or 0
    key = f"planning-learned-{clock.week_start(now.date())}-{newest.bit_length()}"  # or when there is twice as much
    found = caches["forecasts"].get(key)
    if found is None:
        placements = standing().select_related("machine__model").order_by("machine__code")
        found = learn(_with_news(histories(placements, now, TAUGHT_BY).values()))
        if found.priors:
            caches["forecasts"].set(key, found, KEPT)
    return found


def _with_news(every: Iterable[History]) -> list[Known]:
    return [known(one) for one in every if one.looks]
