"""What a visit to one location on one day is worth: the loss it ends, until the next chance to go there.

Nothing is heard of a cabinet between visits, so all that can be decided at a visit is when to come again, and the
one-location Bellman equation becomes one of renewal. Each week brings a chance to go, and what it costs differs: little
where others near by are visited anyway, else a way of its own. With F(t) the loss expected in the t days after a visit,
C the costs that a week may ask, each alike, and g what the best way to go on costs a day for ever, waiting until day t
leaves

    H(t) = mean over C of the lesser of   C + F(t + 2) - F(t) + V    (a visit on the Wednesday)
                                   and    F(t + 7) - F(t) - 7·g + H(t + 7),

where V = F(5) - 7·g + H(5) is what follows a visit, and g is such that H(5) = 0. With N(t), the loss expected in the
next t days as things stand, for F it says what waiting costs now. A visit on day d is worth what waiting for the first
chance after the plan costs more than it does. The solver sets the way there against it. C are the location's shares of
whole trips: at the mere detour every place beside the road would be visited too often, and nobody would pay for the
road.

Losses are cumulative cents by whole days 0, 1, 2 … along the last axis; other axes are cabinets or locations.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from routeapp.planning.rules_rate import Array

WEEK = 7  # days from one chance to the next
MIDDLE = 2  # days into a week on which its visit is reckoned
REST = WEEK - MIDDLE  # days from a visit to the next week
HALVINGS = 30


@dataclass(frozen=True)
class Outlook:
    """Cumulative losses of locations if nobody comes: `now` as things stand, `fresh` counted from a visit on."""

    now: Array  # (L, T + 1)
    fresh: Array  # (L, T + 1)

    def pace(self, costs: Array) -> Array:
        """What the best way to go on costs a day, visits included, where each week asks one of `costs` (L, n)."""
        low, high = np.zeros(len(costs)), self.fresh[:, -1] + np.max(costs, axis=1)
        for _ in range(HALVINGS):
            daily = (low + high) / 2
            cheaper = _waiting(self.fresh, costs, daily, self._again(daily))[:, REST] > 0
            low, high = np.where(cheaper, daily, low), np.where(cheaper, high, daily)
        return (low + high) / 2

    def worth(self, costs: Array, days: Sequence[int], after: int) -> Array:
        """Cents by location and day (L, len(days)) of a visit that many days from now, against waiting for the chances
        from day `after` on, which ask one of `costs` (L, n). Never below zero: what is worth less is better visited
        later."""
        daily = self.pace(costs)
        again = self._again(daily)
        wait = self.now[:, after] + _waiting(self.now, costs, daily, again)[:, after]
        fresh = self.fresh + _waiting(self.fresh, costs, daily, again)
        return np.stack([np.maximum(wait - self.now[:, day] - fresh[:, after - day], 0) for day in days], axis=1)

    def _again(self, daily: Array) -> Array:
        return self.fresh[:, REST] - WEEK * daily


def _waiting(losses: Array, costs: Array, daily: Array, again: Array) -> Array:
    """What is to come (L, T + 1) if a week with a chance begins on each day; `again` follows a visit. Who waited until
    the last days goes."""
    last = losses.shape[1] - 1
    ahead = np.zeros(losses.shape)
    for end in range(last + 1, 0, -WEEK):
        day = np.arange(max(end - WEEK, 0), end)
        goes = losses[:, np.minimum(day + MIDDLE, last)] - losses[:, day] + again[:, None]
        every = goes[..., None] + costs[:, None, :]
        if end <= last:
            waits = losses[:, day + WEEK] - losses[:, day] - WEEK * daily[:, None] + ahead[:, day + WEEK]
            every = np.minimum(every, waits[..., None])
        ahead[:, day] = every.mean(axis=-1)
    return ahead


def cash_at_risk(held: Array, daily: Array, chance: float, last: int) -> Array:
    """Cents expected to be stolen in the first days, when boxes hold `held` cents that grow by `daily`, and each
    day `chance` of them is taken."""
    days = np.arange(last + 1)
    grown = np.asarray(held, float)[..., None] * days + np.asarray(daily, float)[..., None] * days**2 / 2
    return chance * grown


def shares(detours: Sequence[float], whole: float, common: float) -> list[float]:
    """What each stop of a trip of `whole` cost is to bear: its own detour, which would be saved without it, and of what
    is left the part `common`, spread evenly."""
    rest = max(whole - sum(detours), 0.0) / max(len(detours), 1)
    return [detour + common * rest for detour in detours]
