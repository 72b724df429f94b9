"""Which quote for a purpose: what each is worth at a weekly take, and the take above which the faster one wins.

The present worth of a choice is a straight line in the weekly take: minus what it costs, plus the take times the weeks
it earns until the horizon. So what the lines say on the mean is exact; rules_futures draws the spread around it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import exp, expm1, log1p

from machines.purchases.rules_chances import Damage, Lateness

WEEKS_A_YEAR = 365.25 / 7


@dataclass(frozen=True)
class Purpose:
    """What cabinets are wanted for. Money in minor units; `weekly_cents` is what one earns net a week.

    `walk_away` is the chance, each week, that the host stops waiting; another place is then found `elsewhere_weeks`
    after the cabinets came. Repairing a broken cabinet costs `damage_cents` and `damage_weeks`.
    """

    cabinets: int
    weekly_cents: int
    walk_away: float
    elsewhere_weeks: float
    damage_cents: int
    damage_weeks: float
    horizon_weeks: float
    interest: float  # a year: 0.08 is 8 %

    @property
    def hazard(self) -> float:
        return -log1p(-self.walk_away)

    @property
    def discount(self) -> float:
        """The continuous rate a week that makes `interest` a year."""
        return log1p(self.interest) / WEEKS_A_YEAR

    def present(self, start_factor: float) -> float:
        """Present weeks earned from a start until the horizon; `start_factor` is exp(−discount · start)."""
        return (start_factor - exp(-self.discount * self.horizon_weeks)) / self.discount


@dataclass(frozen=True)
class Choice:
    """One quote: what all its cabinets cost at the door, and when what of it is paid."""

    name: str
    landed_cents: int
    price_cents: int  # what of it goes to the supplier
    deposit: float  # the share of the price paid with the order
    made: float  # the share of the lead time after which the rest of the price is paid
    lead_days: int
    lateness: Lateness
    damage: Damage

    @property
    def lead_weeks(self) -> float:
        return self.lead_days / 7

    @property
    def deposit_cents(self) -> float:
        return self.price_cents * self.deposit


@dataclass(frozen=True)
class Worth:
    """The mean of a choice, exactly: `cost_cents` as paid, `present_cents` and `weeks` (of all cabinets) discounted."""

    choice: Choice
    cost_cents: float
    present_cents: float
    weeks: float
    arrival: float  # weeks from the order
    start: float
    walks: float

    def value(self, weekly_cents: float) -> float:
        """Net present value when each cabinet earns so much a week."""
        return self.weeks * weekly_cents - self.present_cents


@dataclass(frozen=True)
class _Means:
    """Means of the discount factors of a choice, exact for any start before the horizon."""

    choice: Choice
    purpose: Purpose

    def paid(self, share: float, rate: float) -> float:
        """exp(−rate · share of the lead time)."""
        return self.choice.lateness.laplace(rate * share * self.choice.lead_weeks)

    @cached_property
    def waits(self) -> float:
        """The chance that the host still waits when the cabinets come."""
        return self.paid(1, self.purpose.hazard)

    @property
    def start(self) -> float:
        """exp(−discount · start) of one cabinet, which may be broken and may need another place."""
        purpose, broken = self.purpose, self.choice.damage.mean
        away = exp(-purpose.discount * purpose.elsewhere_weeks)
        came = away * self.paid(1, purpose.discount) + (1 - away) * self.paid(1, purpose.discount + purpose.hazard)
        return came * (1 + broken * expm1(-purpose.discount * purpose.damage_weeks))


def worth(choice: Choice, purpose: Purpose) -> Worth:
    """What a choice costs and earns on the mean, for a horizon beyond every delay."""
    means, broken = _Means(choice, purpose), choice.damage.mean
    arrival = choice.lead_weeks * choice.lateness.mean
    repair = broken * purpose.cabinets * purpose.damage_cents
    walks = 1 - means.waits
    start = arrival + broken * purpose.damage_weeks + walks * purpose.elsewhere_weeks
    at_door = choice.landed_cents - choice.price_cents + repair
    rest = choice.price_cents - choice.deposit_cents
    weeks = purpose.present(means.start) if purpose.discount else purpose.horizon_weeks - start
    return Worth(
        choice=choice,
        cost_cents=choice.landed_cents + repair,
        present_cents=choice.deposit_cents
        + rest * means.paid(choice.made, purpose.discount)
        + at_door * means.paid(1, purpose.discount),
        weeks=purpose.cabinets * weeks,
        arrival=arrival,
        start=start,
        walks=walks,
    )


def break_even(cheap: Worth, dear: Worth) -> float | None:
    """The weekly take of a cabinet above which the dearer one is worth more; None if it never is."""
    if dear.weeks <= cheap.weeks:
        return None
    return max(0.0, (dear.present_cents - cheap.present_cents) / (dear.weeks - cheap.weeks))


@dataclass(frozen=True)
class Stretch:
    """From a weekly take of `since` cents on, this one is worth most."""

    since: float
    worth: Worth


def best_by_take(worths: Sequence[Worth]) -> list[Stretch]:
    """Which choice is worth most as the weekly take rises from nothing: the upper edge of all lines."""
    now = min(worths, key=lambda one: (one.present_cents, -one.weeks))
    edge = [Stretch(0.0, now)]
    while crossings := [(take, -one.weeks, one) for one in worths if (take := break_even(now, one)) is not None]:
        take, _, now = min(crossings, key=lambda crossing: crossing[:2])
        edge = [*edge, Stretch(take, now)] if take > edge[-1].since else [*edge[:-1], Stretch(take, now)]
    return edge


def payback_weeks(worth: Worth, purpose: Purpose) -> float | None:
    """Weeks from the order until the takes have made up for the cost, on the mean; None when they never do."""
    if purpose.weekly_cents <= 0:
        return None
    return worth.start + worth.cost_cents / (purpose.cabinets * purpose.weekly_cents)
