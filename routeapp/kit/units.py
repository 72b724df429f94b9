"""Sizes and weights as the business measures: kept in millimetres, litres and kilograms, shown and typed as people do.

An inch is 25.4 mm, a cubic foot 28.316846592 l and a pound 0.45359237 kg, all exactly (NIST Handbook 44, Appendix C;
from memory).
"""

from contextvars import ContextVar
from decimal import ROUND_HALF_UP, Decimal

from routeapp.kit.choices import TextChoices


class Units(TextChoices):
    METRIC = "metric", "Millimetres and kilograms"
    CUSTOMARY = "customary", "Inches and pounds"


LENGTH, VOLUME, WEIGHT = "length", "volume", "weight"
SIGNS = {
    (Units.METRIC, LENGTH): "mm",
    (Units.METRIC, VOLUME): "l",
    (Units.METRIC, WEIGHT): "kg",
    (Units.CUSTOMARY, LENGTH): "in",
    (Units.CUSTOMARY, VOLUME): "ft³",
    (Units.CUSTOMARY, WEIGHT): "lb",
}
WORTH = {
    **dict.fromkeys(("mm", "l", "kg"), Decimal(1)),
    "in": Decimal("25.4"),
    "ft³": Decimal("28.316846592"),
    "lb": Decimal("0.45359237"),
}
STEPS = {"in": Decimal("0.1"), "ft³": Decimal("0.01"), "lb": Decimal("0.1")}  # what whole ones are too coarse for
_active: ContextVar[str] = ContextVar("units", default=Units.METRIC)


def activate(units: str) -> None:
    """Measure in these units for the length of this request, as timezone.activate does for the clock."""
    _active.set(units)


def sign(what: str) -> str:
    """“mm”, “in”, “l”, “ft³”, “kg” or “lb”."""
    return SIGNS[Units(_active.get()), what]


def shown(kept: int, what: str) -> Decimal:
    """Whole millimetres, litres or kilograms in the active unit, as fine as STEPS says."""
    unit = sign(what)
    return (kept / WORTH[unit]).quantize(STEPS.get(unit, Decimal(1)), ROUND_HALF_UP)


def kept(shown: Decimal, what: str) -> int:
    """What was typed in the active unit, in whole millimetres, litres or kilograms, half up."""
    return int((shown * WORTH[sign(what)]).quantize(Decimal(1), ROUND_HALF_UP))


def as_text(value: int, what: str) -> str:
    return f"{shown(value, what):f} {sign(what)}"
