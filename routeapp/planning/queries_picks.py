"""What each of some rounds takes out of stores and vans: one after the other, as each takes what others need first."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from locations.placements.queries import standing
from machines.cabinets.models import Machine
from routeapp.planning.models_rounds import LoadTick
from routeapp.planning.queries_rounds import RoundShown
from routeapp.planning.queries_wanted import Pieces, wants
from routeapp.planning.rules_pick import Pick, left, picks
from routeapp.stock.models import Holding, Mix, Place, PlaceKind, Prize
from routeapp.stock.queries import contents, mixes_in_use


@dataclass(frozen=True)
class Picked:
    """One round: what its cabinets want, and what it takes from where. What was ticked has left the stores, and so has
    all that one on the road will take."""

    shown: RoundShown
    wanted: Pieces
    picks: list[Pick]
    ticks: Mapping[str, LoadTick]

    @property
    def to_fetch(self) -> list[Pick]:
        if self.shown.done:
            return []
        return [one for one in self.picks if not ((tick := self.ticks.get(f"prize-{one.prize}")) and tick.on)]

    @cached_property
    def takes(self) -> Counter[int]:
        """Pieces still to be fetched from the stores, by prize."""
        return Counter({one.prize: one.pieces for one in self.to_fetch if one.pieces})

    @cached_property
    def carries(self) -> Counter[int]:
        """Pieces that lie in the van for its stops, by prize."""
        there = {one.prize: one.in_van + self.ticked[one.prize] for one in self.picks}
        return Counter({one.prize: min(one.wanted, there[one.prize]) for one in self.picks if there[one.prize] > 0})

    @property
    def ticked(self) -> Counter[int]:
        """Pieces that went into the van for it. On the road nobody tells them from what lay there before."""
        return Counter() if self.shown.done else Counter(_ticked(self.ticks))


@dataclass(frozen=True)
class Stores:
    """What lies about for some rounds, and the cabinets they go to by location id."""

    machines: dict[int, list[Machine]]
    prizes: dict[int, Prize]
    stores: dict[int, Place]
    vans: dict[int, Place]  # by person
    held: Mapping[int, Mapping[int, int]]  # pieces by place and prize
    rounds: list[Picked]

    def pieces(self, prize: int) -> int:
        return sum(max(0, self.held.get(pk, {}).get(prize, 0)) for pk in self.stores)


def picked(turns: Sequence[RoundShown], now: datetime) -> Stores:
    """What each of these rounds takes, if they load in this order; in constant queries."""
    machines = _machines({stop.location.pk for one in turns for stop in one.to_load})
    prizes = {one.pk: one for one in Prize.objects.all()}
    places = list(Place.objects.filter(kind__in=(PlaceKind.STORE, PlaceKind.VAN)))
    stores = {one.pk: one for one in places if one.kind == PlaceKind.STORE}
    vans = {one.person_id: one for one in places if one.person_id}
    held = contents([one.pk for one in places])
    mixes = list(mixes_in_use())
    told, alike, ticks = wants(machines, mixes, now), _alike(prizes, mixes), _ticks(turns)
    there: Mapping[int, Mapping[int, int]] = {pk: held.get(pk, {}) for pk in stores}
    lies = {person: _without_ticks(held.get(van.pk, {}), turns, person, ticks) for person, van in vans.items()}
    made = []
    for one in turns:
        van = lies.get(one.round.person_id, {})
        really = Counter(van)
        really.update(_taken_off(one, turns, ticks))
        wanted = told.of(one, sum(max(0, pieces) for each in (*there.values(), really) for pieces in each.values()))
        in_all: Counter[int] = Counter()
        for lines in wanted.values():
            in_all.update(lines)
        by_name = {pk: in_all[pk] for pk in sorted(in_all, key=lambda pk: prizes[pk].name) if in_all[pk]}
        made.append(Picked(one, wanted, picks(by_name, van, there, alike), ticks[one.uuid]))
        there = left(there, van, in_all, made[-1].to_fetch)
        for pick in made[-1].picks:
            loaded = van.get(pick.prize, 0) + made[-1].ticked[pick.prize] + made[-1].takes[pick.prize]
            van[pick.prize] = max(0, loaded - pick.wanted)
    return Stores(machines, prizes, stores, vans, held, made)


def _machines(location_ids: Iterable[int]) -> dict[int, list[Machine]]:
    found: dict[int, list[Machine]] = {pk: [] for pk in location_ids}
    rows = standing().filter(location__in=list(found)).select_related("machine__model").order_by("machine__code")
    for placement in rows:
        found[placement.location_id].append(placement.machine)
    return found


def _ticks(turns: Iterable[RoundShown]) -> dict[Any, dict[str, LoadTick]]:
    """The latest of each line, by round."""
    found: dict[Any, dict[str, LoadTick]] = defaultdict(dict)
    for one in LoadTick.objects.filter(round__in=[one.uuid for one in turns]).order_by("at", "pk"):
        found[one.round_id][one.line] = one
    return found


def _ticked(ticks: Mapping[str, LoadTick]) -> dict[int, int]:
    return {int(name[6:]): one.pieces for name, one in ticks.items() if name.startswith("prize-") and one.on}


def _taken_off(
    one: RoundShown, turns: Sequence[RoundShown], ticks: Mapping[Any, Mapping[str, LoadTick]]
) -> dict[int, int]:
    """Of the van. Of a round on the road what was picked is gone in part; the last one is the list that is shown."""
    return _ticked(ticks[one.uuid]) if not one.done or one is turns[-1] else {}


def _without_ticks(
    held: Mapping[int, int], turns: Sequence[RoundShown], person: int, ticks: Mapping[Any, Mapping[str, LoadTick]]
) -> dict[int, int]:
    """What lay in the van of a person before anything was picked for these rounds, so that a picked line still says how
    many."""
    there = Counter(held)
    for one in turns:
        if one.round.person_id == person:
            there.subtract(_taken_off(one, turns, ticks))
    return dict(there)


def _alike(prizes: Mapping[int, Prize], mixes: Sequence[Mix]) -> dict[int, list[int]]:
    """What could be taken instead: prizes of the same mixes first, then those of nearly the same size that went into
    cabinets of the same kind."""
    together: dict[int, set[int]] = defaultdict(set)
    for mix in mixes:
        pks = {line.prize_id for line in mix.lines.all()}
        for pk in pks:
            together[pk] |= pks
    kinds: dict[int, set[str]] = defaultdict(set)
    inside = Holding.objects.filter(place__machine__isnull=False).order_by()
    for pk, kind in inside.values_list("prize", "place__machine__model__kind").distinct():
        kinds[pk].add(kind)
    found = {}
    for pk, prize in prizes.items():
        fits = [one for one in prizes.values() if one.pk in together[pk] or kinds[one.pk] & kinds[pk]]
        others = [one for one in fits if one.pk != pk and not one.retired]
        others.sort(key=lambda one: (one.pk not in together[pk], _gap(one, prize), one.name))
        found[pk] = [one.pk for one in others]
    return found


def _gap(one: Prize, other: Prize) -> int:
    return abs((one.size_mm or 0) - (other.size_mm or 0))
