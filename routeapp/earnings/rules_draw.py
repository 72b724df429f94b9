"""Whether a prize draws players: plays a day of the same cabinets in the same places, with it inside and without it.

Plays follow a log-linear model of cabinet, month and prize (Poisson regression: N. E. Breslow and N. E. Day,
Statistical Methods in Cancer Research II, 1987, chapter 4), so what a cabinet does anyway, and a season that all share,
is no merit of a prize. Plays scatter more than Poisson's, and a place drifts for weeks: the range is the wider of two,
by Pearson's statistic over its degrees of freedom (P. McCullagh and J. A. Nelder, Generalized Linear Models, 1989, 4.5)
and by how far the places disagree (K.-Y. Liang and S. L. Zeger, Biometrika 73, 1986), each with Student's t.
It compares, and proves nothing: what else changed with the prize, it cannot know.
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, sqrt

import numpy as np
from scipy.special import stdtrit

from routeapp.earnings.rules_patterns import SIGNIFICANT

FEW_PLACES = 3  # where fewer had it inside and not, nothing is said: common practice, no source
LITTLE = 0.1  # of the plays: less is no difference that matters; common practice, no source
MOST_STEPS = 50
BLURRED = 1e10  # condition of the equations beyond which prize and months cannot be told apart


@dataclass(frozen=True)
class Cell:
    """What was played in some days of one month in one cabinet at one place, with the prize inside or without it."""

    place: Hashable
    cabinet: Hashable
    month: Hashable
    inside: bool
    plays: int
    days: float


@dataclass(frozen=True)
class Verdict:
    """By which part more (below zero: less) is played a day with the prize inside, and from where to where that may be;
    None where too little is known. `places` had it inside for some time and not for some."""

    places: int
    more: float | None = None
    low: float = 0.0
    high: float = 0.0

    @property
    def stands_out(self) -> bool:
        return self.more is not None and not self.low <= 0 <= self.high

    @property
    def state(self) -> str:
        return "none" if not self.stands_out else "good" if self.low > 0 else "warn"

    @property
    def words(self) -> str:
        if self.more is None:
            return "too little to say"
        if self.stands_out:
            return f"{fewer_or_more(self.more)} plays"
        return "no difference" if self.low >= -LITTLE and self.high <= LITTLE else "too little to say"

    @property
    def why(self) -> str:
        """From where to where, or what is missing."""
        if self.stands_out:
            near, far = sorted((self.low, self.high), key=abs)
            return f"{percent(near)} to {fewer_or_more(far)}"
        if self.more is not None:
            return f"{fewer_or_more(self.low)} to {fewer_or_more(self.high)}"
        if self.places >= FEW_PLACES:
            return "it came and went with the months, or hardly anything was played"
        places = f"{self.places or 'no'} place{'s' if self.places > 1 else ''}"
        return f"{places} had it for some of the days and not for others; it takes {FEW_PLACES}"


def percent(part: float) -> str:
    return f"{min(abs(part), 9.99) * 100:.0f}"


def fewer_or_more(part: float) -> str:
    """“12 % more”."""
    return f"{percent(part)} % {'fewer' if part < 0 else 'more'}"


@dataclass(frozen=True)
class Drawn:
    """The logarithm of plays a day with the prize over those without, None where nobody can tell; its error by the
    scatter with the degrees of freedom left, and by how far the places disagree."""

    places: int
    log: float | None = None
    error: float = 0.0
    freedom: int = 1
    error_by_place: float = 0.0

    def verdict(self, unsure: float) -> Verdict:
        """What may be said if the range may miss as often as `unsure`."""
        if self.log is None:
            return Verdict(self.places)
        by_place = float(stdtrit(self.places - 1, 1 - unsure / 2)) * self.error_by_place
        reach = max(float(stdtrit(self.freedom, 1 - unsure / 2)) * self.error, by_place)
        return Verdict(self.places, *(exp(min(self.log + way * reach, 99.0)) - 1 for way in (0, -1, 1)))


def verdicts(found: Mapping[int, Drawn]) -> dict[int, Verdict]:
    """The doubt is shared out among all that can be compared, as of a crowd some stand out by chance."""
    compared = sum(one.log is not None for one in found.values())
    return {key: one.verdict(SIGNIFICANT / max(1, compared)) for key, one in found.items()}


def drawn(cells: Iterable[Cell]) -> Drawn:
    """Compares the cells of all cabinets: those that never had the prize, or always, tell what the months did."""
    cells = _together(cells)
    places = places_with_both(cells)
    return _fitted(cells, places) if places >= FEW_PLACES else Drawn(places)


def places_with_both(cells: Iterable[Cell]) -> int:
    """How many places have a cabinet that had the prize inside for some time and not for some."""
    seen = {(one.place, one.cabinet, one.inside) for one in cells}
    return len({place for place, cabinet, inside in seen if inside and (place, cabinet, False) in seen})


def _together(cells: Iterable[Cell]) -> list[Cell]:
    """One cell for each cabinet, month and state, as weeks of one month are much alike; without cabinets and months in
    which nothing was played, as they tell nothing."""
    sums: dict[tuple[Hashable, Hashable, Hashable, bool], tuple[int, float]] = {}
    for one in cells:
        key = one.place, one.cabinet, one.month, one.inside
        plays, days = sums.get(key, (0, 0.0))
        sums[key] = plays + one.plays, days + one.days
    found = [Cell(*key, plays, days) for key, (plays, days) in sums.items() if days > 0]
    played = {(one.place, one.cabinet) for one in found if one.plays}, {one.month for one in found if one.plays}
    return [one for one in found if (one.place, one.cabinet) in played[0] and one.month in played[1]]


def _fitted(cells: Sequence[Cell], places: int) -> Drawn:
    """By Newton's method, with the plays of each cabinet held as they are, so that its own level falls out."""
    plays, days = np.array([one.plays for one in cells], float), np.array([one.days for one in cells])
    place, month = _numbers(one.place for one in cells), _numbers(one.month for one in cells)
    cabinet = _numbers((one.place, one.cabinet) for one in cells)
    inside = np.array([one.inside for one in cells], float)
    columns = np.column_stack([inside, *(month == number for number in range(1, month.max() + 1))])
    freedom = len(cells) - int(cabinet.max()) - 1 - columns.shape[1]
    effects, of_cabinet = np.zeros(columns.shape[1]), np.bincount(cabinet, plays)
    for _ in range(MOST_STEPS if freedom > 0 else 0):
        expected = days * np.exp(columns @ effects)
        expected *= (of_cabinet / np.bincount(cabinet, expected))[cabinet]
        beyond = columns - _means(columns, cabinet, expected)[cabinet]
        known = beyond.T @ (beyond * expected[:, None])
        if not np.isfinite(known).all() or np.linalg.cond(known) > BLURRED:
            break
        off = plays - expected
        step = np.linalg.solve(known, columns.T @ off)
        if np.abs(step).max() > 1e-8:
            effects += np.clip(step, -2, 2)
            continue
        inverse = np.linalg.inv(known)[0]
        scatter = max(1.0, float((off**2 / expected).sum()) / freedom)
        pulls = np.bincount(place, (beyond @ inverse) * off)  # what each place adds to the effect
        error_by_place = sqrt(float(pulls @ pulls) * places / (places - 1))
        return Drawn(places, float(effects[0]), sqrt(scatter * float(inverse[0])), freedom, error_by_place)
    return Drawn(places)


def _means(columns: np.ndarray, cabinet: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Of each column in each cabinet, by what is expected."""
    whole = np.bincount(cabinet, expected)
    return np.column_stack([np.bincount(cabinet, expected * column) / whole for column in columns.T])


def _numbers(keys: Iterable[Hashable]) -> np.ndarray:
    numbers: dict[Hashable, int] = {}
    return np.array([numbers.setdefault(key, len(numbers)) for key in keys])
