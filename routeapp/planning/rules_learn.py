"""What all cabinets together teach: seasons of locations, what a kind has in common, ranges that cover what they say.

What foretells best is decided on the newest third of the past, which nothing was fitted to; then all is fitted anew.
"""

from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from routeapp.planning import rules_ahead, rules_prior, rules_season
from routeapp.planning.rules_rate import (
    NODES,
    SHORTEST,
    Array,
    Belief,
    Prior,
    Stretch,
    filtered,
    reach,
    seen_rates,
    side_by_side,
)
from routeapp.planning.rules_score import HIGH, LOW, Found, levels, outcomes
from routeapp.planning.rules_season import Seasons, Told

HELD_OUT = 1 / 3
FEWEST = 60  # intervals that make a third worth deciding by
# Prizes in a play where nobody counted yet; 0.1 elsewhere, no source.
USUAL_SHARE: dict[Hashable, float] = {"capsule": 1.0, "sticker": 1.0}


@dataclass(frozen=True)
class Known:
    """One cabinet: its kind, its location, and its intervals, oldest first: (start, end, plays, empty, down) with
    moments in days since 1970, plays None where nobody can tell, and the days `down` in which nobody could play.
    Prizes `won` in so many `tries`; `faults`, and `stops` among them of which nobody told, in so many days of
    `service`. `changes` are the moments at which its price changed."""

    kind: Hashable
    place: Hashable
    looks: Sequence[tuple[float, float, int | None, bool, float]]
    won: int = 0
    tries: float = 0.0
    faults: int = 0
    stops: int = 0
    service: float = 0.0
    changes: Sequence[float] = ()

    def changed_since(self, stretches: Sequence[Stretch]) -> bool:
        """Whether its price changed after its last interval that tells."""
        ends = [look[1] for look, one in zip(self.looks, stretches, strict=True) if one.days >= SHORTEST]
        return bool(ends) and any(moment >= ends[-1] for moment in self.changes)


@dataclass(frozen=True)
class Learned:
    """`places` number the rows of the seasons; `helped` says which season was taken ("none", "all" or "each").
    `won`, `faults` and `stops` are shapes and rates of gammas: prizes in a play by kind, faults in a day of all."""

    seasons: Seasons
    places: dict[Hashable, int] = field(default_factory=dict)
    priors: dict[Hashable, Prior] = field(default_factory=dict)
    levels: dict[Hashable, tuple[float, float]] = field(default_factory=dict)
    everybody: Prior = rules_prior.USUAL
    helped: str = "none"
    won: dict[Hashable, tuple[float, float]] = field(default_factory=dict)
    faults: tuple[float, float] = (0.0, 1.0)
    stops: tuple[float, float] = (0.0, 1.0)

    def prior(self, kind: Hashable) -> Prior:
        return self.priors.get(kind, self.everybody)

    def won_of(self, kind: Hashable) -> tuple[float, float]:
        return self.won.get(kind) or rules_ahead.share_prior([], [], USUAL_SHARE.get(kind, 0.1))

    def range_of(self, kind: Hashable) -> tuple[float, float]:
        return self.levels.get(kind, (LOW, HIGH))

    def days(self, place: Hashable, start: np.ndarray, end: np.ndarray) -> np.ndarray:
        """How many usual days the time between moments is worth at a location."""
        number = np.full(np.shape(start), self.places.get(place, 0))
        return self.seasons.days(number, start, end) if place in self.places else np.maximum(0.0, end - start)

    def stretches(self, cabinet: Known) -> list[Stretch]:
        if not cabinet.looks:
            return []
        start, end, plays, empty, down = zip(*cabinet.looks, strict=True)
        starts, ends = np.array(start), np.array(end)
        up = 1 - np.array(down) / np.maximum(ends - starts, SHORTEST)
        days = self.days(cabinet.place, starts, ends) * np.clip(up, 0, 1)
        tell = np.flatnonzero(days >= SHORTEST)
        first = np.searchsorted(ends[tell], cabinet.changes, side="right")  # of those, that ends after each change
        rows = zip(days, plays, empty, np.isin(np.arange(len(ends)), tell[first[first < len(tell)]]), strict=True)
        return [Stretch(float(day), n, bool(cut), bool(new)) for day, n, cut, new in rows]

    def beliefs(self, cabinets: Sequence[Known]) -> list[Belief]:
        """What is believed of the rate of each on a usual day, as the newest interval left it. Side by side or each by
        itself, it is the same."""
        told = [self.stretches(one) for one in cabinets]
        groups: dict[tuple[Prior, float, float], list[int]] = defaultdict(list)
        for row, one in enumerate(cabinets):
            prior = self.prior(one.kind)
            groups[(prior, *reach(prior, seen_rates(side_by_side([told[row]]))))].append(row)
        found: dict[int, Belief] = {}
        for (prior, low, high), rows in groups.items():
            grid = np.geomspace(low, high, NODES)
            belief = filtered(side_by_side([told[row] for row in rows]), prior, grid).belief
            each = {row: belief.at(place) for place, row in enumerate(rows)}
            found |= {
                row: one.changed() if cabinets[row].changed_since(told[row]) else one for row, one in each.items()
            }
        return [found[row] for row in range(len(cabinets))]


def learn(cabinets: Sequence[Known]) -> Learned:
    """Everything that is learned from all cabinets; of none, what is usual."""
    cut = _cut(cabinets)
    if cut is None:
        return _fitted(cabinets, "none")
    before = [replace(one, looks=[look for look in one.looks if look[1] <= cut]) for one in cabinets]
    tries = [_fitted(before, season) for season in ("none", "all", "each")]
    scores = [_score(cabinets, one, cut) for one in tries]
    best = int(np.argmax([score for score, _ in scores]))
    return _fitted(cabinets, tries[best].helped, scores[best][1])


def _cut(cabinets: Sequence[Known]) -> float | None:
    """The moment that leaves the newest third of the intervals behind it."""
    ends = np.array([look[1] for one in cabinets for look in one.looks])
    return float(np.quantile(ends, 1 - HELD_OUT)) if len(ends) * HELD_OUT >= FEWEST else None


def _fitted(cabinets: Sequence[Known], season: str, held_out: dict[Hashable, Found] | None = None) -> Learned:
    places = {place: number for number, place in enumerate(dict.fromkeys(one.place for one in cabinets))}
    seasons = rules_season.flat(max(1, len(places)))
    if season != "none":
        seasons = rules_season.fitted(_told(cabinets, places), len(places), local=season == "each")
    found = Learned(seasons, places, helped=season)
    told = [found.stretches(one) for one in cabinets]
    everybody = rules_prior.fitted(told)
    kinds = _by_kind(cabinets)
    priors = {kind: rules_prior.fitted([told[row] for row in rows], everybody) for kind, rows in kinds.items()}
    ranges = {kind: levels(one) for kind, one in (held_out or {}).items()}
    return Learned(
        seasons,
        places,
        priors,
        ranges,
        everybody,
        season,
        {kind: _won([cabinets[row] for row in rows], USUAL_SHARE.get(kind, 0.1)) for kind, rows in kinds.items()},
        rules_ahead.fault_prior([one.faults for one in cabinets], service := [one.service for one in cabinets]),
        rules_ahead.fault_prior([one.stops for one in cabinets], service),
    )


def _won(cabinets: Sequence[Known], usual: float) -> tuple[float, float]:
    return rules_ahead.share_prior([one.won for one in cabinets], [one.tries for one in cabinets], usual)


def _score(cabinets: Sequence[Known], learned: Learned, cut: float) -> tuple[float, dict[Hashable, Found]]:
    """How well intervals after a moment were foretold, and what became of each kind's forecasts."""
    total, found = 0.0, {}
    for kind, rows in _by_kind(cabinets).items():
        intervals = side_by_side([learned.stretches(cabinets[row]) for row in rows])
        new = side_by_side([_since(learned.stretches(cabinets[row]), cabinets[row], cut) for row in rows]).told
        told = filtered(intervals, learned.prior(kind), keep=True)
        seen: Array = np.zeros(intervals.told.shape, bool)
        seen[:, seen.shape[1] - new.shape[1] :] = new
        total += float(told.scores[seen].sum())
        found[kind] = outcomes(intervals._replace(told=seen), told)
    return total, found


def _since(stretches: list[Stretch], cabinet: Known, cut: float) -> list[Stretch]:
    return [
        one if look[1] > cut else one._replace(plays=None) for one, look in zip(stretches, cabinet.looks, strict=True)
    ]


def _told(cabinets: Sequence[Known], places: dict[Hashable, int]) -> Told:
    """Intervals that say all: not those that an empty cabinet cut short."""
    rows = [
        (look[0], look[1], look[2], number, places[one.place])
        for number, one in enumerate(cabinets)
        for look in one.looks
        if look[2] is not None and not look[3] and look[1] - look[0] - look[4] > SHORTEST
    ]
    table = np.array(rows, float).reshape(-1, 5)
    numbers = table[:, 3:].astype(int)
    return Told(table[:, 0], table[:, 1], table[:, 2], numbers[:, 0], numbers[:, 1])


def _by_kind(cabinets: Sequence[Known]) -> dict[Hashable, list[int]]:
    found: dict[Hashable, list[int]] = defaultdict(list)
    for row, one in enumerate(cabinets):
        found[one.kind].append(row)
    return found
