"""Coins and notes, counting by weight, and sharing a bag's count among the cabinets it came from."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from routeapp.kit.money import split


@dataclass(frozen=True)
class Denomination:
    """One coin or note. `cents` in minor units; `grams` is the mint's mass of one piece, None when not weighed."""

    key: str
    cents: int
    grams: Decimal | None = None
    usual: bool = True  # cabinets take it; the others stand folded away

    @property
    def coin(self) -> bool:
        return self.key.startswith("c")


def _coins(masses: dict[int, str], usual: set[int]) -> list[Denomination]:
    return [Denomination(f"c{cents}", cents, Decimal(grams), cents in usual) for cents, grams in masses.items()]


def _mixed(cents: list[int], usual: set[int]) -> list[Denomination]:
    return [Denomination(f"c{each}", each, None, each in usual) for each in cents]


def _notes(usual: list[int], others: list[int]) -> list[Denomination]:
    return [Denomination(f"n{cents}", cents, None, cents in usual) for cents in usual + others]


# Which ones cabinets take: common practice, no source.
DENOMINATIONS: dict[str, list[Denomination]] = {
    # US Mint, Coin Specifications. Cents from before 1982 are heavier, so mixed cents cannot be weighed exactly.
    "USD": _coins({100: "8.1", 50: "11.340", 25: "5.670", 10: "2.268", 5: "5.000", 1: "2.500"}, {25, 100})
    + _notes([100, 500, 1000, 2000], [5000, 10000]),
    # Council Regulation (EC) No 975/98, technical specifications of euro coins.
    "EUR": _coins(
        {200: "8.50", 100: "7.50", 50: "7.80", 20: "5.74", 10: "4.10", 5: "3.92", 2: "3.06", 1: "2.30"},
        {200, 100, 50, 20},
    )
    + _notes([500, 1000, 2000], [5000]),
    # The Royal Mint's coin specifications.
    "GBP": _coins(
        {200: "12.00", 100: "8.75", 50: "8.00", 20: "5.00", 10: "6.50", 5: "3.25", 2: "7.12", 1: "3.56"},
        {200, 100, 50, 20},
    )
    + _notes([500, 1000, 2000], [5000]),
    # Reserve Bank of New Zealand, coin specifications, from memory; coins of 2006 and later, all others are withdrawn.
    "NZD": _coins({200: "10.00", 100: "8.00", 50: "5.00", 20: "4.00", 10: "3.30"}, {200, 100, 50})
    + _notes([500, 1000, 2000], [5000, 10000]),
    # Royal Australian Mint, coin specifications, from memory.
    "AUD": _coins(
        {200: "6.60", 100: "9.00", 50: "15.55", 20: "11.30", 10: "5.65", 5: "2.83"},
        {200, 100},
    )
    + _notes([500, 1000, 2000], [5000, 10000]),
    # Coins of one kind were made of several metals and masses and all pass: they are counted, not weighed.
    "CAD": _mixed([200, 100, 25, 10, 5], {200, 100, 25}) + _notes([500, 1000, 2000], [5000, 10000]),
}


def denominations(currency: str) -> list[Denomination]:
    """Coins, then notes, of a currency (ISO 4217); empty when only sums can be entered for it."""
    return DENOMINATIONS.get(currency, [])


@dataclass(frozen=True)
class Weighed:
    """`pieces` coins of one kind, and by how many grams the scale differed from exactly that many."""

    pieces: int
    off_grams: Decimal

    def words(self) -> str:
        if not self.off_grams:
            return "to the gram"
        return f"{abs(self.off_grams.normalize()):f} g {'over' if self.off_grams > 0 else 'under'}"


def by_weight(grams: Decimal, denomination: Denomination) -> Weighed:
    """Pieces in a pile that weighs `grams` without its container. Raises ValueError for notes and for no weight."""
    if denomination.grams is None:
        raise ValueError("Only coins can be counted by weight.")
    if grams < 0:
        raise ValueError("A weight cannot be below zero.")
    pieces = int((grams / denomination.grams).quantize(Decimal(1), rounding=ROUND_HALF_UP))
    return Weighed(pieces, grams - pieces * denomination.grams)


def total(lines: dict[str, int], currency: str) -> int:
    """What pieces by denomination key come to, in minor units. Raises KeyError for a key the currency lacks."""
    worth = {one.key: one.cents for one in denominations(currency)}
    return sum(worth[key] * pieces for key, pieces in lines.items())


def share_out(cents: int, estimates: list[int]) -> list[int]:
    """Share a bag's count among the cabinets in it, in proportion to what their meters said."""
    return split(cents, estimates)


def pieces(lines: dict[str, int], currency: str) -> list[tuple[int, int]]:
    """What was counted, (pieces, worth of one in minor units); what the currency lacks is left out."""
    return [(lines[one.key], one.cents) for one in denominations(currency) if lines.get(one.key)]


def is_far_off(difference: int | None, counted: int) -> bool:
    """Whether to ask if a count is right: it is off by over a tenth of what should be there.

    A tenth is common practice, no source.
    """
    return difference is not None and abs(difference) * 10 > counted - difference


def difference(counted: int, noted: int, estimates: list[int]) -> int | None:
    """Over (above zero) or short in minor units, against what was noted at the site and, for sealed cash, the meters.

    None when a cabinet whose cash was sealed had no meter to say how much it was.
    """
    return counted - noted - sum(estimates) if all(estimates) else None
