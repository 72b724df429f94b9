"""How many minutes a stop takes, learned from what past stops took.

Minutes are linear in what is done: so many for the stop itself, for each cabinet, each box emptied, each fault. The
fit leans on usual figures as if TRUST stops had shown them, so it is sane with few visits; a place's own habit (far
from the door, somebody who talks) is added, leaning on none.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean

import numpy as np

USUAL = (5.0, 4.0, 2.0, 10.0)  # stop, cabinet, box emptied, fault: common practice, no source
TRUST = 5.0
LEAST, MOST = 2, 240


@dataclass(frozen=True)
class Work:
    """What is to be done, or was done, at one stop."""

    cabinets: int
    boxes: int = 0
    faults: int = 0

    @property
    def row(self) -> tuple[float, ...]:
        return 1.0, float(self.cabinets), float(self.boxes), float(self.faults)


@dataclass(frozen=True)
class Pace:
    """Minutes for each of the four, and by which a place differs, by its id."""

    rates: tuple[float, ...] = USUAL
    places: Mapping[int, float] = field(default_factory=dict)

    def minutes(self, work: Work, place: int) -> int:
        usual = sum(rate * many for rate, many in zip(self.rates, work.row, strict=True))
        return round(min(MOST, max(LEAST, usual + self.places.get(place, 0.0))))


def learn(stops: Sequence[tuple[int, Work, float]]) -> Pace:
    """The pace behind past stops: (place, what was done, minutes it took)."""
    stops = [one for one in stops if LEAST <= one[2] <= MOST]
    if not stops:
        return Pace()
    done = np.array([work.row for _, work, _ in stops])
    took = np.array([minutes for *_, minutes in stops])
    # Ridge towards what is usual: (X'X + T) b = X'y + T u.
    rates = np.linalg.solve(done.T @ done + TRUST * np.eye(4), done.T @ took + TRUST * np.array(USUAL))
    rates = np.maximum(rates, 0.0)
    return Pace(tuple(float(rate) for rate in rates), _habits(stops, took - done @ rates))


def _habits(stops: Sequence[tuple[int, Work, float]], rest: np.ndarray) -> dict[int, float]:
    by_place: dict[int, list[float]] = {}
    for (place, _, _), minutes in zip(stops, rest, strict=True):
        by_place.setdefault(place, []).append(float(minutes))
    return {place: fmean(each) * len(each) / (len(each) + TRUST) for place, each in by_place.items()}
