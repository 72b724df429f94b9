"""Meter arithmetic: what happened between two neighbouring readings, and which readings must be asked about."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from statistics import median

from routeapp.kit.choices import TextChoices

FASTEST_PLAY_SECONDS = 8  # nobody can play a cabinet faster for days on end; common practice, no source
SLACK_PLAYS = 50  # a burst of quick plays or coins between two readings taken close together
UNUSUAL_TIMES = 10  # ten times the usual rate is asked about
HISTORY = 6  # intervals that make up "the usual"
SECONDS_A_DAY = 86_400


class Explanation(TextChoices):
    """What a person said about a reading that could not be taken at its word."""

    NONE = "", "Nothing unusual"
    RIGHT = "right", "It is right, I looked again"
    ROLLED_OVER = "rolled_over", "The meter went past its last number and started again"
    RESET = "reset", "The meter was set back to zero since the last reading"
    LAST_WAS_WRONG = "last_was_wrong", "The last reading was written down wrong"
    UNKNOWN = "unknown", "I cannot tell; leave this stretch out"


@dataclass(frozen=True)
class Shown:
    """What a meter showed at a moment. `tests_before` and `tests_after` are free test pulses around the reading."""

    key: int
    at: datetime
    value: int
    baseline: bool = False
    tests_before: int = 0
    tests_after: int = 0
    explained_as: str = Explanation.NONE


@dataclass(frozen=True)
class Interval:
    """What happened between two readings. `counts` is None when nobody can tell; `question` is a sentence or ''."""

    start: Shown
    end: Shown
    counts: int | None
    how: str
    question: str = ""

    @property
    def days(self) -> float:
        return (self.end.at - self.start.at).total_seconds() / SECONDS_A_DAY


def most_counts(start: datetime, end: datetime, counts_per_play: int = 1) -> int:
    """The most a meter can have counted between two moments, by the fastest play a cabinet can make."""
    seconds = max(0.0, (end - start).total_seconds())
    return (int(seconds / FASTEST_PLAY_SECONDS) + SLACK_PLAYS) * max(1, counts_per_play)


def rolled_over(old: int, new: int, digits: int) -> int:
    """Counts from `old` to `new` on a meter that starts again at 10^digits. Right only below 10^digits counts."""
    return (new - old) % 10**digits


def interval(start: Shown, end: Shown, digits: int, counts_per_play: int = 1) -> Interval:
    """What happened between two neighbouring readings of one meter with `digits` digits.

    A lower reading is a rollover only when the cabinet can have made that many counts in the time; otherwise
    it stays a question until somebody explains it, and `counts` is None. Test pulses are taken off.
    """
    most = most_counts(start.at, end.at, counts_per_play)
    counts, how, question = _raw_counts(start, end, digits, most)
    if counts is None:
        return Interval(start, end, None, how, question)
    net = counts - start.tests_after - end.tests_before
    if net < 0 and end.explained_as != Explanation.RIGHT:
        question = f"{counts - net:,} test plays were noted, but the meter only moved by {counts:,}."
    return Interval(start, end, max(0, net), how, question)


def _raw_counts(start: Shown, end: Shown, digits: int, most: int) -> tuple[int | None, str, str]:
    wrapped, moved = rolled_over(start.value, end.value, digits), end.value - start.value
    if end.explained_as == Explanation.UNKNOWN:
        return None, "left out", ""
    if end.explained_as == Explanation.RESET:
        return end.value, "counted from the reset", ""
    if moved >= 0 and (moved <= most or end.explained_as == Explanation.RIGHT):
        return moved, "counted", ""
    if moved < 0 and wrapped <= min(most, 10**digits // 2):
        return wrapped, "rolled over", ""
    return None, "question", _question(start, end, wrapped, moved, most)


def _question(start: Shown, end: Shown, wrapped: int, moved: int, most: int) -> str:
    if moved > most:
        return f"{moved:,} counts since the last reading is more than the cabinet can make in that time ({most:,})."
    if end.explained_as == Explanation.ROLLED_OVER:
        return f"Even past its last number this would be {wrapped:,} counts, more than the cabinet can make."
    return f"{end.value:,} is lower than the last reading of {start.value:,}."


def intervals(readings: Iterable[Shown], digits: int, counts_per_play: int = 1) -> list[Interval]:
    """All intervals of one meter from its `readings`, in order of time. A baseline starts counting anew."""
    found: list[Interval] = []
    for start, end in pairwise(without_wrong_readings(readings)):
        if not end.baseline:
            found.append(_asked_if_unusual(interval(start, end, digits, counts_per_play), found))
    return found


def newest_interval(readings: Iterable[Shown], digits: int, counts_per_play: int = 1) -> Interval | None:
    """The last of `intervals`; None when the last reading starts the counting.

    Few counts are never unusual, so that they need no look at the earlier ones.
    """
    shown = without_wrong_readings(readings)
    if len(shown) < 2 or shown[-1].baseline:
        return None
    last = interval(shown[-2], shown[-1], digits, counts_per_play)
    if last.counts is None or last.counts <= SLACK_PLAYS:
        return last
    return _asked_if_unusual(last, intervals(shown[:-1], digits, counts_per_play))


def without_wrong_readings(readings: Iterable[Shown]) -> list[Shown]:
    """Drop each reading that the next one says was written down wrong; a wrong baseline hands its role on."""
    kept: list[Shown] = []
    for shown in readings:
        if shown.explained_as == Explanation.LAST_WAS_WRONG and kept:
            dropped = kept.pop()
            shown = replace(shown, baseline=shown.baseline or dropped.baseline, explained_as=Explanation.NONE)
        kept.append(shown)
    return kept


def usual_rate(earlier: list[Interval]) -> float | None:
    """Counts a day as usual here: the median of the last few intervals, or None without a history."""
    rates = [one.counts / one.days for one in earlier[-HISTORY:] if one.counts is not None and one.days > 0.5]
    return median(rates) if len(rates) >= 3 else None


def is_unusual(counts: int, days: float, usual: float) -> bool:
    """Whether `counts` in so many days is more than ten times `usual` counts a day would make."""
    return counts > UNUSUAL_TIMES * usual * max(days, 0.5) + SLACK_PLAYS


def _asked_if_unusual(one: Interval, earlier: list[Interval]) -> Interval:
    usual = usual_rate(earlier)
    if usual is None or one.counts is None or one.question or one.end.explained_as:
        return one
    if not is_unusual(one.counts, one.days, usual):
        return one
    expected = usual * max(one.days, 0.5)
    return replace(one, question=f"{one.counts:,} counts is more than ten times the usual {expected:,.0f}.")
