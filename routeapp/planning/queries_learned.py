"""What all cabinets taught, kept for a week: it changes slowly, and working it out takes a second or two."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.core.cache import caches
from django.db.models import Max

from locations.placements.queries import standing
from machines.cabinets.models import Reading
from routeapp.kit import clock, memory
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
    won, tries = history.won + history.won_since, history.plays_by_then
    place, faults, stops = history.placement.location_id, history.faults, history.stops
    changes = [days_of(moment) for moment in history.repriced]
    return Known(machine.model.kind, place, looks, won, tries, faults, stops, history.served, changes)


def lesson(now: datetime) -> str:
    """Names what is known this week, or until there is twice as much to learn from."""
    newest = Reading.objects.aggregate(newest=Max("pk"))["newest"] or 0
    return f"planning-learned-{clock.week_start(now.date())}-{newest.bit_length()}"


def learned(key: str, now: datetime) -> Learned:
    """What was learned under this name, or is now."""
    found = caches["forecasts"].get(key)
    if found is None:
        placements = standing().select_related("machine__model").order_by("machine__code")
        found = learn(_with_news(histories(placements, now, TAUGHT_BY).values()))
        caches["forecasts"].set(key, found, KEPT if found.priors else memory.KEPT_SECONDS)
    return found


def _with_news(every: Iterable[History]) -> list[Known]:
    return [known(one) for one in every if one.looks]
