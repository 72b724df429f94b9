"""How many prizes to load: newsvendor quantities for the days until the next visit, within what cabinet, van and store
hold.

A prize too few costs the margin of the plays it would have drawn, a prize too many what it costs to keep it there. The
best quantity is the smallest that suffices with a chance of under / (under + over) (Arrow, Harris and Marschak 1951).
Where there are fewer prizes than that, each goes where it is most likely to be won at the best margin.
"""

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from routeapp.planning.rules_rate import Array, Predictive


class Demand(Protocol):
    """What may be asked for until the next visit."""

    @property
    def mean(self) -> Array: ...
    def quantile(self, part: float) -> Array: ...
    def beyond(self, limit: Array | float) -> Array: ...


def enough(under: float, over: float) -> float:
    """The chance with which a quantity should suffice, at cents lost per prize too few and too many."""
    return under / (under + over) if under > 0 else 0.0


def newsvendor(demand: Demand, under: float, over: float) -> Array:
    """The best quantity, where nothing limits it."""
    return demand.quantile(enough(under, over))


def cost(demand: Demand, quantity: Array | float, under: float, over: float) -> Array:
    """Cents expected to be lost with this quantity."""
    short = demand.beyond(quantity)
    return over * (np.asarray(quantity, float) - demand.mean + short) + under * short


def loads(wanted: Sequence[int], present: Sequence[int], room: Sequence[int]) -> list[int]:
    """Prizes to bring to each cabinet so that it holds what is wanted, as far as it has room."""
    return [max(min(want, most) - there, 0) for want, there, most in zip(wanted, present, room, strict=True)]


def shared(
    demand: Predictive, present: Sequence[int], wanted: Sequence[int], under: Sequence[float], stock: int
) -> list[int]:
    """What to bring to each cabinet when `stock` prizes are all there is: one after the other to where the next one is
    worth most. As each further prize in a cabinet is worth less than the one before, no other way is better."""
    most = max(wanted, default=0)
    short = np.stack([demand.beyond(np.asarray(present) + more) for more in range(most + 1)], axis=-1)
    worth = np.asarray(under)[:, None] * -np.diff(short, axis=-1)
    worth[np.arange(most) >= np.asarray(wanted)[:, None]] = -1.0
    best = np.argsort(-worth, axis=None, kind="stable")[: min(stock, sum(wanted))]
    return np.bincount(best // max(most, 1), minlength=len(wanted)).tolist()
