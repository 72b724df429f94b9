"""Lengths and weights as the business measures: kept in millimetres and kilograms, shown and typed as people there do.

An inch is 25.4 mm and a pound 0.45359237 kg, both exactly (NIST Handbook 44, Appendix C; from memory).
"""

from contextvars import ContextVar
from decimal import ROUND_HALF_UP, Decimal

from routeapp.kit.choices import TextChoices


class Units(TextChoices):
    METRIC = "metric", "Millimetres and kilograms"
    CUSTOMARY = "customary", "Inches and pounds"


LENGTH, WEIGHT = "length", "weight"
SIGNS = {
    (Units.METRIC, LENGTH): "mm",
    (Units.METRIC, WEIGHT): "kg",
    (Units.CUSTOMARY, LENGTH): "in",
    (Units.CUSTOMARY, WEIGHT): "lb",
}
WORTH = {"mm": Decimal(1), "kg": Decimal(1), "in": Decimal("25.4"), "lb": Decimal("0.45359237")}
_active: ContextVar[str] = ContextVar("units", default=Units.METRIC)


def activate(units: str) -> None:
    """Measure in these units for the length of this request, as timezone.activate does for the clock."""
    _active.set(units)


def sign(what: str) -> str:
    """“mm”, “in”, “kg” or “lb”."""
    return SIGNS[Units(_active.get()), what]


def shown(kept: int, what: str) -> Decimal:
    """Whole millimetres or kilograms in the active unit: whole ones, or tenths of an inch or pound."""
    step = Decimal(1) if WORTH[sign(what)] == 1 else Decimal("0.1")
    return (kept / WORTH[sign(what)]).quantize(step, ROUND_HALF_UP)


def kept(shown: Decimal, what: str) -> int:
    """What was typed in the active unit, in whole millimetres or kilograms, half up."""
    return int((shown * WORTH[sign(what)]).quantize(Decimal(1), ROUND_HALF_UP))


def as_text(value: int, what: str) -> str:
    return f"{shown(value, what):f} {sign(what)}"
