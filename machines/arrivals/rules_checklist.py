"""What to look at when a cabinet is unpacked, and the force that a ramp asks for."""

from math import atan, sin

USUAL = (
    "Glass and acrylic",
    "Doors and hinges",
    "Prize chute and flap",
    "Gantry, rails and rollers",
    "Topper",
    "Lights",
    "Wiring and plugs",
    "Protective film",
    "Screws and feet",
)  # common practice, no source

POUNDS_PER_KG = 2.2046226218
STEEPEST_RAMP = (1, 12)  # 2010 ADA Standards, 405.2, from memory: what most built ramps keep to


def ramp_force(weight: float, rise: float = STEEPEST_RAMP[0], run: float = STEEPEST_RAMP[1]) -> float:
    """The force that keeps `weight` from rolling down a ramp, in the unit of `weight`: W · sin(atan(rise / run)).

    Without the friction of the wheels, which is less on a hand truck with large ones.
    """
    return weight * sin(atan(rise / run))


def ramp_words(weight_kg: int | None) -> str:
    """What holding a cabinet of this weight on a ramp of 1 in 12 takes, in words; empty when nobody knows it."""
    if not weight_kg:
        return ""
    force = ramp_force(weight_kg)
    return (
        f"On a ramp of 1 in 12, holding back its {weight_kg} kg ({weight_kg * POUNDS_PER_KG:,.0f} lb) takes about "
        f"{force:,.0f} kg ({force * POUNDS_PER_KG:,.0f} lb), before the wheels' friction."
    )
