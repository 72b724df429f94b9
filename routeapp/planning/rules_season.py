"""Weekdays and months: how much busier than usual a day is, at each location, leaning on all of them.

Moments are days since 1970 (a float, local enough: a few hours do not move a week). A cabinet counts by its days and
not by its plays, so that one busy cabinet does not make the season of all.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from routeapp.planning.rules_rate import Array

LEANS = 40.0  # days' worth of trust in what all locations have in common; no source
ROUNDS = 15
THURSDAY = 3  # 1 January 1970


class Told(NamedTuple):
    """Intervals of all cabinets in one long list: start and end (days), plays, whose (0, 1, 2 …) and at which place
    (0, 1, 2 …)."""

    start: Array
    end: Array
    plays: Array
    whose: Array
    place: Array


@dataclass(frozen=True)
class Seasons:
    """Factors of Monday to Sunday (P, 7) and of January to December (P, 12) for P places, each around one."""

    weekdays: Array
    months: Array

    def days(self, place: Array, start: Array, end: Array) -> Array:
        """How many usual days the time between two moments is worth at a place; all of one shape."""
        if not np.size(start):
            return np.zeros(np.shape(start))
        first, last = int(np.min(start)), int(max(np.max(start), np.max(end))) + 1
        each = _daily(self.weekdays, _weekday(first, last)) * _daily(self.months, _month(first, last))
        sums = _sums(each[..., None])
        return np.maximum(0.0, (_until(sums, place, end - first) - _until(sums, place, start - first))[..., 0])


def flat(places: int) -> Seasons:
    """Every day as the other."""
    return Seasons(np.ones((places, 7)), np.ones((places, 12)))


def fitted(told: Told, places: int, local: bool = True) -> Seasons:
    """The factors under which all cabinets were as busy as usual: first those of all places together, then (unless
    not `local`) of each place. Few days at a place leave it near what all have in common."""
    if not len(told.plays):
        return flat(places)
    together = _fit(told._replace(place=np.zeros_like(told.place)), flat(1))
    alike = Seasons(np.repeat(together.weekdays, places, axis=0), np.repeat(together.months, places, axis=0))
    return _fit(told, alike) if local else alike


def _fit(told: Told, lean_on: Seasons) -> Seasons:
    """Each interval's plays are shared out over its days by the factors, and these found anew, some times over."""
    first, last = int(told.start.min()), int(told.end.max()) + 1
    spent = told._replace(start=told.start - first, end=told.end - first)
    weekday, month = _weekday(first, last), _month(first, last)
    weekdays, months = lean_on.weekdays, lean_on.months
    for _ in range(ROUNDS):
        weekdays = _again(spent, weekday, weekdays, _daily(months, month), lean_on.weekdays)
        months = _again(spent, month, months, _daily(weekdays, weekday), lean_on.months)
    return Seasons(weekdays, months)


def _again(told: Told, sort: Array, factors: Array, other: Array, lean_on: Array) -> Array:
    """New factors of one sort: plays that fell on its days, in days' worth of each cabinet's usual, over those days."""
    sums = _sums(np.eye(factors.shape[1])[sort] * other[..., None])  # what a day of each sort would be worth
    worth = _until(sums, told.place, told.end) - _until(sums, told.place, told.start)
    full = np.sum(worth * factors[told.place], axis=1)
    usual = (np.bincount(told.whose, told.plays) / np.maximum(np.bincount(told.whose, full), 1e-9))[told.whose]
    had = np.where(usual > 0, told.plays / np.maximum(usual, 1e-9), full)
    came, days = np.zeros(factors.shape), np.zeros(factors.shape)
    np.add.at(came, told.place, worth * factors[told.place] * (had / np.maximum(full, 1e-9))[:, None])
    np.add.at(days, told.place, worth)
    found = (came + LEANS * lean_on) / (days + LEANS)
    return np.clip(found / found.mean(axis=1, keepdims=True), 0.05, 20)


def _weekday(first: int, last: int) -> Array:
    return (np.arange(first, last) + THURSDAY) % 7


def _month(first: int, last: int) -> Array:
    return np.arange(first, last).astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12


def _daily(factors: Array, sort: Array) -> Array:
    """The factor of each day at each place, (P, days)."""
    return factors[:, sort]


def _sums(each: Array) -> Array:
    """(P, days + 1, sorts): what all days before one are worth."""
    return np.concatenate([np.zeros_like(each[:, :1]), np.cumsum(each, axis=1)], axis=1)


def _until(sums: Array, place: Array, moment: Array) -> Array:
    """What the time up to a moment is worth, days in part."""
    day = np.clip(np.floor(moment).astype(int), 0, sums.shape[1] - 2)
    part = (moment - day)[..., None]
    return sums[place, day] * (1 - part) + sums[place, day + 1] * part
