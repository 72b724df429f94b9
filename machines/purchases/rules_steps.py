"""The way of an order to the door, and when it will be there."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from routeapp.kit.choices import TextChoices


class Step(TextChoices):
    MADE = "made", "Made"
    SHIPPED = "shipped", "Shipped"
    PORT = "port", "In port"
    RELEASED = "released", "Released by customs"
    ROAD = "road", "On the road"
    DELIVERED = "delivered", "Delivered"


# The part of the days on the way that is still to come after a step; common practice, no source.
STILL_TO_COME = {Step.MADE: 1.0, Step.SHIPPED: 0.9, Step.PORT: 0.25, Step.RELEASED: 0.15, Step.ROAD: 0.08}


@dataclass(frozen=True)
class Reached:
    """A step that was reached on a day; `said` is the day of arrival that somebody named then."""

    step: str
    on: date
    said: date | None = None


@dataclass(frozen=True)
class Expected:
    """The day to reckon with, and why. `is_done` when it has come."""

    on: date
    why: str
    is_done: bool = False


def expected(
    start: date, made_days: int, transit_days: int, reached: Sequence[Reached], lateness: float, seen: int
) -> Expected:
    """When an order will be at the door, from the day it was ordered and the steps since.

    What the carrier said at the newest step counts; without it, what the quote leaves to come, times the supplier's
    `lateness` (1.15: fifteen percent later than quoted), known from so many deliveries `seen`.
    """
    if not reached:
        days = (made_days + transit_days) * lateness
        return Expected(
            start + timedelta(days=round(days)), f"{made_days + transit_days} days quoted, {_late(lateness, seen)}"
        )
    newest = max(reached, key=lambda one: list(Step).index(Step(one.step)))
    label = Step(newest.step).label.lower()
    if newest.step == Step.DELIVERED:
        return Expected(newest.on, "delivered", is_done=True)
    if newest.said:
        return Expected(newest.said, f"said when it was {label}")
    left = transit_days * STILL_TO_COME[Step(newest.step)]
    return Expected(
        newest.on + timedelta(days=round(left * lateness)),
        f"about {left:.0f} days after {label}, {_late(lateness, seen)}",
    )


def _late(lateness: float, seen: int) -> str:
    percent = round((lateness - 1) * 100)
    if percent == 0:
        return "as quoted"
    by = "as usual with this supplier" if seen else "as is common before a supplier's first delivery"
    return f"{abs(percent)} % {'longer' if percent > 0 else 'less'}, {by}"
