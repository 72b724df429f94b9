"""What a visit to one location on one day is worth: the loss it ends, until the next chance to go there.

Nothing is heard of a cabinet between visits, so all that can be decided at a visit is when to come again, and the
one-location Bellman equation becomes one of renewal. With F(t) the loss expected in the t days after a visit and c the
cost of one, the best pace costs g = min over t of (F(t) + c) / t a day for ever. With N(t) the loss expected in the
next t days as things stand, going after t days costs N(t) + c - g·t more than having just been there. A visit on day d
is therefore worth what the best day after the plan's last one costs more than it:

    worth(d) = min over t > last of (N(t) + c - g·t) - (N(d) - g·d)

The solver sets the way there against it. c is the location's share of a whole trip: at the mere detour every place
beside the road would be visited too often, and nobody would pay for the road.

Losses are cumulative cents by whole days 0, 1, 2 … along the last axis; other axes are cabinets or locations.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from routeapp.planning.rules_load import prizes
from routeapp.planning.rules_rate import Array, Belief


@dataclass(frozen=True)
class Outlook:
    """Cumulative losses of locations if nobody comes: `now` as things stand, `fresh` counted from a visit on."""

    now: Array  # (L, T + 1)
    fresh: Array  # (L, T + 1)

    def pace(self, cost: Array) -> tuple[Array, Array]:
        """The best number of days between visits that cost so much, and what that costs a day, visits included."""
        days = np.arange(1, self.fresh.shape[-1])
        each = (self.fresh[..., 1:] + np.asarray(cost, float)[..., None]) / days
        return days[np.argmin(each, axis=-1)], np.min(each, axis=-1)

    def worth(self, cost: Array, days: Sequence[int], after: int) -> Array:
        """Cents by location and day (L, len(days)) of a visit that many days from now, against the best one from
        `after` days on. Never below zero: what is worth less is better visited later."""
        cost = np.asarray(cost, float)
        _, daily = self.pace(cost)
        waited = np.arange(self.now.shape[-1])
        wait = self.now - daily[..., None] * waited
        later = np.min(wait[..., after:], axis=-1) + cost
        return np.maximum(later[..., None] - wait[..., list(days)], 0)


def lost_plays(belief: Belief, left: Array, plays_per_prize: Array, last: int, drawn: Array | float = 1.0) -> Array:
    """Plays that players want and find no prize for, in the first 0 … `last` days; by cabinet, (M, last + 1).

    One play in `plays_per_prize` wins, and `left` prizes can be won. With several kinds of prizes, each that runs out
    takes the part of the players along that it has `drawn`: ask for each kind and add up. Worked out every few days,
    and the rarer the further ahead."""
    asked = np.unique(np.rint(np.append(np.arange(4), np.geomspace(4, max(last, 4), 16)))).astype(int)
    cabinets = len(belief.weights)
    found = [_lacking(belief, left, np.asarray(plays_per_prize) / drawn, float(day)) for day in asked]
    days = np.arange(last + 1)
    each = [np.interp(days, asked, prizes) for prizes in np.array(found).T]
    return np.array(each).reshape(cabinets, last + 1) * np.asarray(plays_per_prize, float)[..., None]


def _lacking(belief: Belief, left: Array, plays_per_prize: Array, days: float) -> Array:
    """Prizes that would have been won beyond those that are left."""
    return prizes(belief.plays(np.full(len(belief.weights), days)), plays_per_prize).beyond(left)


def onward(losses: Array, elapsed: Sequence[int], last: int) -> Array:
    """Losses counted from a visit, as they go on after `elapsed` days without news: (M, last + 1)."""
    rows = np.arange(len(losses))[:, None]
    days = np.asarray(elapsed)[:, None] + np.arange(last + 1)
    return losses[rows, days] - losses[rows, days[:, :1]]


def cash_at_risk(held: Array, daily: Array, chance: float, last: int) -> Array:
    """Cents expected to be stolen in the first days, when boxes hold `held` cents that grow by `daily`, and each
    day `chance` of them is taken."""
    days = np.arange(last + 1)
    grown = np.asarray(held, float)[..., None] * days + np.asarray(daily, float)[..., None] * days**2 / 2
    return chance * grown


def down_time(daily: Array, chance: float, last: int) -> Array:
    """Cents expected to be lost to a cabinet that works now, breaks with `chance` a day and stands until a visit."""
    days = np.arange(last + 1)
    broken = days - (1 - np.exp(-chance * days)) / chance if chance > 0 else np.zeros(last + 1)
    return np.asarray(daily, float)[..., None] * broken


def shares(detours: Sequence[float], whole: float, common: float) -> list[float]:
    """What each stop of a trip of `whole` cost is to bear: its own detour, which would be saved without it, and of what
    is left the part `common`, spread evenly."""
    rest = max(whole - sum(detours), 0.0) / max(len(detours), 1)
    return [detour + common * rest for detour in detours]
