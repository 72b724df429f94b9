"""How late and how often broken: what a supplier's own deliveries say, leaning on what is usual while they are few.

Lateness is the actual days over the quoted ones. It scatters like a gamma of fixed shape whose rate is itself a gamma:
seen deliveries add to it, and the next one is beta-prime, in closed form. Damage is a beta over cabinets.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv

SHAPE = 16.0  # one standard deviation is a quarter of the time; common practice, no source
USUAL_LATENESS, USUAL_DELIVERIES = 1.15, 3  # 15 % late, worth three deliveries; common practice, no source
USUAL_DAMAGE, USUAL_CABINETS = 0.1, 5  # one in ten, worth five cabinets; common practice, no source
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)


@dataclass(frozen=True)
class Lateness:
    """The next delivery's lateness is `scale` times a beta-prime of (SHAPE, `a`)."""

    deliveries: int
    a: float
    scale: float

    @property
    def mean(self) -> float:
        return SHAPE * self.scale / (self.a - 1)

    def quantile(self, share: float | np.ndarray) -> float | np.ndarray:
        """The lateness that this share of deliveries stays below."""
        part = betaincinv(SHAPE, self.a, share)
        return self.scale * part / (1 - part)

    def laplace(self, rate: float) -> float:
        """The mean of exp(−rate · lateness), by Gauss-Legendre over the quantiles: right to five digits."""
        return float(np.exp(-rate * self.quantile((_NODES + 1) / 2)) @ _WEIGHTS / 2)


def lateness(ratios: Sequence[float]) -> Lateness:
    """From actual over quoted days of a supplier's deliveries; the mean leans on 1.15 as on three more of them."""
    a = SHAPE * (USUAL_DELIVERIES + len(ratios)) + 1
    return Lateness(len(ratios), a, USUAL_DELIVERIES * USUAL_LATENESS + sum(ratios))


@dataclass(frozen=True)
class Damage:
    """The chance that a cabinet arrives broken is a beta of (`broken`, `sound`), after `cabinets` were seen."""

    cabinets: int
    broken: float
    sound: float

    @property
    def mean(self) -> float:
        return self.broken / (self.broken + self.sound)


def damage(came: int, damaged: int) -> Damage:
    """From the cabinets a supplier's deliveries brought, and how many of them were damaged."""
    broken = USUAL_DAMAGE * USUAL_CABINETS + damaged
    return Damage(came, broken, USUAL_CABINETS * (1 - USUAL_DAMAGE) + came - damaged)
