"""Opening hours on paper: stretches of one weekday, by the location's own clock."""

from collections.abc import Mapping, Sequence
from datetime import datetime, time

Stretch = tuple[time, time]

END_OF_DAY = time(23, 59, 59)  # stands for 24:00
ALL_DAY: Stretch = (time(0), END_OF_DAY)


def closing(typed: time) -> time:
    """The closing time as it is kept: midnight typed at the end of a day means the end of that day."""
    return END_OF_DAY if typed == time(0) else typed


def problem(stretches: Sequence[Stretch]) -> str:
    """What is wrong with the stretches of one day, as a sentence; empty when they stand in order without overlap."""
    for opens, closes in stretches:
        if closes <= opens:
            return "It closes before it opens. Past midnight: write 00:00 here and the rest on the next day."
    for (_, closes), (opens, _) in zip(stretches, stretches[1:], strict=False):
        if opens < closes:
            return "The second stretch starts before the first one ends."
    return ""


def in_words(stretches: Sequence[Stretch]) -> str:
    """The hours of one day as a sign on the door would say them."""
    if not stretches:
        return "closed"
    if list(stretches) == [ALL_DAY]:
        return "open all day"
    return ", ".join(f"{opens:%H:%M}–{_closing_in_words(closes)}" for opens, closes in stretches)


def _closing_in_words(closes: time) -> str:
    return "24:00" if closes == END_OF_DAY else f"{closes:%H:%M}"


def is_open(hours: Mapping[int, Sequence[Stretch]], local: datetime) -> bool:
    """Whether a place with `hours` by weekday (Monday is 0) is open at a `local` moment."""
    return any(
        opens <= local.time() and (local.time() < closes or closes == END_OF_DAY)
        for opens, closes in hours.get(local.weekday(), ())
    )
