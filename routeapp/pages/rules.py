"""How the cash of a cabinet mostly stands, on paper."""

from dataclasses import dataclass


@dataclass(frozen=True)
class CashPattern:
    """How the cash of some collections stood against the meter. Amounts in minor units, less is negative."""

    of: int
    short: int
    over: int
    cents: int
    expected: int

    @property
    def share(self) -> float:
        """What is missing or too much together, in per cent of what the meters say."""
        return 100 * abs(self.cents) / self.expected if self.expected else 0.0


def cash_pattern(collections: list[tuple[int, int]]) -> CashPattern:
    """The pattern of (variance, expected) of collections whose variance is known."""
    return CashPattern(
        of=len(collections),
        short=sum(variance < 0 for variance, _ in collections),
        over=sum(variance > 0 for variance, _ in collections),
        cents=sum(variance for variance, _ in collections),
        expected=sum(expected for _, expected in collections),
    )
