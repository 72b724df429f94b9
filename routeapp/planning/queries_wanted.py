"""How many of which prize each cabinet of a round should get: enough for the days until the next visit, no more."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from machines.cabinets.models import Machine
from routeapp.kit.money import split
from routeapp.planning import queries_driven
from routeapp.planning.queries_forecast import Outlook
from routeapp.planning.queries_outlook import outlook
from routeapp.planning.queries_rounds import RoundShown
from routeapp.planning.rules_habit import Habit
from routeapp.planning.rules_load import loads, newsvendor, shared
from routeapp.stock.models import Mix
from routeapp.stock.queries import inside, unit_costs

KEEPING = 0.25  # of a prize's cost that keeping it in a cabinet costs a year; common practice, no source
UNKNOWN_DAYS = 14  # until the next visit of a place with no habit; common practice, no source
ROOM = 10_000  # where nobody said how many fit in

Pieces = dict[int, dict[int, int]]  # by cabinet and prize


@dataclass(frozen=True)
class Wants:
    """What the cabinets of some locations may want: read once for all rounds that go there."""

    machines: Mapping[int, Sequence[Machine]]  # by location id
    mixes: Sequence[Mix]
    seen: Outlook
    habits: Mapping[int, Habit]
    held: Mapping[int, list]
    costs: Mapping[int, float]  # of a piece, by prize

    def of(self, shown: RoundShown, stock: int) -> Pieces:
        """For the stops of one round. `stock` is how many prizes there are for it at all: fewer than wanted go where
        they are worth most."""
        seen = self.seen
        stops = [one.location.pk for one in shown.to_load]
        places = [(pk, one) for pk in stops for one in self.machines.get(pk, ()) if one.pk in seen.row]
        expected = {int(pk): each for stop in shown.stops for pk, each in stop.stop.expected.items()}
        present = [max(0, expected.get(one.pk, {}).get("prizes") or 0) for _, one in places]
        under, wanted = _quantities(places, self)
        room = [one.model.prize_capacity or ROOM for _, one in places]
        brings = loads(wanted, present, room)
        if sum(brings) > stock and places:
            rows = [seen.row[one.pk] for _, one in places]
            demand = seen.prizes.rows(rows).counts(np.array([_days(pk, self.habits) for pk, _ in places], float))
            brings = shared(demand, present, brings, under, max(0, stock))
        found = {}
        for (_, one), bring in zip(places, brings, strict=True):
            shares = _shares({prize.pk: pieces for prize, pieces in self.held[one.pk] if pieces > 0}, self.mixes)
            if bring and shares:
                found[one.pk] = dict(zip(shares, split(bring, list(shares.values())), strict=True))
        return found


def wants(machines: Mapping[int, Sequence[Machine]], mixes: Sequence[Mix], now: datetime) -> Wants:
    habits = queries_driven.habits(queries_driven.driven(now))
    held = inside([one.pk for each in machines.values() for one in each])
    costs = {pk: float(pool.unit_cost()) for pk, pool in unit_costs().items() if pool.quantity}
    return Wants(machines, mixes, outlook(now), habits, held, costs)


def _days(location: int, habits: Mapping[int, Habit]) -> float:
    return max(1.0, habits[location].every) if location in habits else UNKNOWN_DAYS


def _quantities(places: Sequence[tuple[int, Machine]], told: Wants) -> tuple[list[float], list[int]]:
    """What a prize too few costs in each cabinet, and how many it should hold after the visit."""
    costs, seen = told.costs, told.seen
    usual = sum(costs.values()) / len(costs) if costs else 0.0
    unders, wanted = [], []
    for location, one in places:
        row, days = seen.row[one.pk], _days(location, told.habits)
        each = [costs[prize.pk] for prize, pieces in told.held[one.pk] if pieces > 0 and prize.pk in costs]
        under = max(0.0, float(seen.margins[row])) / max(float(seen.share.part[row]), 1e-6)
        over = max(0.01, (sum(each) / len(each) if each else usual) * KEEPING * days / 365)
        unders.append(under)
        wanted.append(int(newsvendor(seen.prizes.rows([row]).counts(days), under, over)[0]))
    return unders, wanted


def _shares(there: dict[int, int], mixes: Sequence[Mix]) -> dict[int, int]:
    """The recipe of the mix in use that has most of what is inside; else what is inside."""
    recipes = [{line.prize_id: line.quantity for line in mix.lines.all()} for mix in mixes]
    best = max(recipes, key=lambda recipe: len(recipe.keys() & there.keys()) / max(1, len(recipe)), default={})
    return best if best.keys() & there.keys() or not there else there
