"""Stock arithmetic: what counts settle, and what prizes cost by the moving average."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from routeapp.kit.money import half_up


@dataclass(frozen=True)
class Step:
    """One fact about a prize in a place: a move by `change` pieces, or (with `count` set) a count that found `found`.

    `settled` is what earlier settling moves for that count already took out.
    """

    change: int = 0
    count: int | None = None
    found: int = 0
    settled: int = 0


def settle(start: int, steps: Iterable[Step]) -> list[tuple[int, int, int]]:
    """Counts whose moves are not right yet, as (count, pieces its moves took out so far, pieces they must take out).
    Negative pieces were found too many.

    `start` is what lay there before the first step; `steps` are in order of time. A count wipes the slate: from
    there on the place holds what was found, so a late fact only ever changes the next count after it.
    """
    running, wrong = start, []
    for step in steps:
        if step.count is None:
            running += step.change
            continue
        if running - step.found != step.settled:
            wrong.append((step.count, step.settled, running - step.found))
        running = step.found
    return wrong


@dataclass(frozen=True)
class Pool:
    """Pieces of one prize that we hold and what they stand in the books at together (whole minor units)."""

    quantity: int = 0
    value_cents: int = 0

    def unit_cost(self) -> Fraction:
        return Fraction(self.value_cents, self.quantity) if self.quantity else Fraction(0)


def after_delivery(pool: Pool, on_hand: int, quantity: int, cost_cents: int) -> Pool:
    """The pool after `quantity` pieces for `cost_cents` came in while `on_hand` pieces were left of it.

    Moving average: what is left keeps its average cost, the new pieces bring theirs. Stock that the books
    have below zero is valued at nothing.
    """
    left = max(0, on_hand)
    return Pool(left + quantity, half_up(pool.unit_cost() * left) + cost_cents)


def cost_of(parts: Sequence[tuple[int, Pool]]) -> int:
    """What (quantity, pool) parts cost together, rounded once, half up."""
    above, below = 0, 1  # one fraction, put together by hand: Fractions are too slow for a month of prizes
    for quantity, pool in parts:
        if pool.quantity:
            above = above * pool.quantity + quantity * pool.value_cents * below
            below *= pool.quantity
    return half_up(Fraction(above, below))
