"""Futures drawn at random: the spread around the means, and how often one choice beats another."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from machines.purchases.rules_chances import SHAPE
from machines.purchases.rules_compare import Choice, Purpose

FUTURES, SEED = 100_000, 11
LATE = 0.9  # one delivery in ten comes later


@dataclass(frozen=True)
class Spread:
    """One in ten lies below `low`, the middle one is `mid`, one in ten lies above `high`."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True)
class Outlook:
    """What the futures say of one choice. `error` is the standard error of the mean of `value`, in minor units."""

    first_week: Spread  # of earning, counted from the order
    payback: Spread | None
    mean_start: float  # weeks, over all cabinets
    mean_value: float
    value: Spread
    error: float
    loses: float  # the share in which it has not paid back by the horizon
    wins: float  # the share in which it is worth more than every other choice


@dataclass(frozen=True)
class Futures:
    outlooks: list[Outlook]
    values: np.ndarray  # a row for each choice

    def beats(self, one: int, other: int) -> float:
        """The share of futures in which a choice is worth more than another. Both meet the same host."""
        return float(np.mean(self.values[one] > self.values[other]))


def draw(choices: Sequence[Choice], purpose: Purpose, futures: int = FUTURES, seed: int = SEED) -> Futures:
    """Draw futures, the same for the same seed. The host's patience is one draw for all choices of a future."""
    random = np.random.default_rng(seed)
    patience = random.standard_exponential(futures)
    if purpose.hazard:
        patience /= purpose.hazard
    else:
        patience[:] = np.inf
    values = np.empty((len(choices), futures))
    seen = [_one(choice, purpose, patience, random, values[row]) for row, choice in enumerate(choices)]
    wins = np.bincount(values.argmax(axis=0), minlength=len(choices)) / futures
    return Futures([Outlook(**one, wins=float(won)) for one, won in zip(seen, wins, strict=True)], values)


def _one(
    choice: Choice, purpose: Purpose, patience: np.ndarray, random: np.random.Generator, value: np.ndarray
) -> dict:
    """Draw one choice; writes its net present values into `value`."""
    futures, many = len(patience), purpose.cabinets
    arrival = random.standard_gamma(SHAPE, futures)
    arrival /= random.standard_gamma(choice.lateness.a, futures)
    arrival *= choice.lateness.scale * choice.lead_weeks
    broken = random.binomial(many, random.beta(choice.damage.broken, choice.damage.sound, futures))
    start = arrival + (patience < arrival) * purpose.elsewhere_weeks
    value[:] = present_value(choice, purpose, arrival, start, broken)
    mean_start = start + broken * (purpose.damage_weeks / many)
    first = start + (broken == many) * purpose.damage_weeks
    cost = choice.landed_cents + broken * purpose.damage_cents
    takings = many * purpose.weekly_cents
    payback = mean_start + cost / takings if takings > 0 else None
    return {
        "first_week": _spread(first),
        "payback": None if payback is None else _spread(payback),
        "mean_start": float(mean_start.mean()),
        "mean_value": float(value.mean()),
        "value": _spread(value),
        "error": float(value.std() / futures**0.5),
        "loses": 1.0 if payback is None else float(np.mean(payback > purpose.horizon_weeks)),
    }


def present_value(
    choice: Choice, purpose: Purpose, arrival: np.ndarray, start: np.ndarray, broken: np.ndarray
) -> np.ndarray:
    """Net present value in minor units; arrays over futures, weeks from the order."""
    sound = purpose.cabinets - broken
    rate, end = purpose.discount, purpose.horizon_weeks
    mended = np.minimum(start + purpose.damage_weeks, end)
    started = np.minimum(start, end)
    if not rate:
        weeks = sound * (end - started) + broken * (end - mended)
        return weeks * purpose.weekly_cents - choice.landed_cents - broken * purpose.damage_cents
    weeks = sound * np.exp(-rate * started) + broken * np.exp(-rate * mended)
    weeks -= purpose.cabinets * np.exp(-rate * end)
    weeks *= purpose.weekly_cents / rate
    at_door = choice.landed_cents - choice.price_cents + broken * purpose.damage_cents
    weeks -= at_door * np.exp(-rate * arrival)
    weeks -= (choice.price_cents - choice.deposit_cents) * np.exp(-rate * choice.made * arrival)
    return weeks - choice.deposit_cents


def _spread(drawn: np.ndarray) -> Spread:
    tenth = len(drawn) // 10
    parts = np.partition(drawn, (tenth, len(drawn) // 2, len(drawn) - tenth))
    return Spread(float(parts[tenth]), float(parts[len(drawn) // 2]), float(parts[len(drawn) - tenth]))


@dataclass(frozen=True)
class Strain:
    """What a choice is worth when it comes as late as one in ten, and when a cabinet arrives broken."""

    late_weeks: float
    late_value: float
    broken_value: float


def strain(choice: Choice, purpose: Purpose) -> Strain:
    """Net present values of two plain mishaps. The host has gone when that was as likely as not by then."""
    usual = choice.lead_weeks * choice.lateness.mean
    late = choice.lead_weeks * float(choice.lateness.quantile(LATE))

    def at(arrival: float, broken: int) -> float:
        gone = np.exp(-purpose.hazard * arrival) < 0.5
        start = arrival + gone * purpose.elsewhere_weeks
        return float(present_value(choice, purpose, np.array(arrival), np.array(start), np.array(broken)))

    return Strain(late, at(late, 0), at(usual, 1))
