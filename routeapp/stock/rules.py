"""Stock arithmetic: what prizes cost by the moving average."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from routeapp.kit.money import half_up


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
