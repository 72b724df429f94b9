"""Divisors that authorities publish, as rows with their source. None is applied by itself: somebody chooses it for a
jurisdiction and says from when on it holds."""

from dataclasses import dataclass

from locations.taxes.rules import Treatment

_FLORIDA = "Fla. Admin. Code 12A-15.011, text current to September 2024"


@dataclass(frozen=True)
class Published:
    """A divisor in millionths, and what it is for."""

    key: str
    name: str
    treatment: str
    millionths: int
    source: str


def _florida(treatment: Treatment, divisors: dict[str, int]) -> tuple[Published, ...]:
    """By county surtax, in words."""
    what = "coin-operated amusement" if treatment == Treatment.AMUSEMENT else "vending of goods"
    return tuple(
        Published(f"fl-{treatment.value}-{divisor}", f"Florida, {what}, {surtax}", treatment, divisor, _FLORIDA)
        for surtax, divisor in divisors.items()
    )


PUBLISHED = (
    *_florida(
        Treatment.AMUSEMENT,
        {
            "no surtax": 1_040_000,
            "surtax ¼ %": 1_042_500,
            "surtax ½ %": 1_045_000,
            "surtax ¾ %": 1_047_500,
            "surtax 1 %": 1_050_000,
            "surtax 1¼ %": 1_052_500,
            "surtax 1½ %": 1_055_000,
            "surtax 1¾ %": 1_057_500,
            "surtax 2 %": 1_060_000,
        },
    ),
    *_florida(
        Treatment.GOODS,
        {
            "no surtax": 1_065_900,
            "surtax ½ %": 1_070_700,
            "surtax 1 %": 1_074_900,
            "surtax 2 %": 1_083_300,
        },
    ),
)
