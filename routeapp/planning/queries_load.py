"""The load list of a round: what to put into the van, from where, for which stop, and what is in it already."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from locations.placements.queries import standing
from machines.cabinets.models import Machine
from routeapp.planning.models_rounds import LoadTick
from routeapp.planning.queries_rounds import RoundShown, StopShown
from routeapp.planning.queries_things import Line, things_for
from routeapp.planning.queries_wanted import wanted_of
from routeapp.planning.rules_pick import Pick, picks
from routeapp.stock.models import Holding, Mix, Place, PlaceKind, Prize
from routeapp.stock.queries import contents, mixes_in_use


@dataclass(frozen=True)
class ForStop:
    """What one stop gets: (cabinet, prizes in words)."""

    stop: StopShown
    cabinets: list[tuple[Machine, str]]


@dataclass(frozen=True)
class LoadList:
    prizes: list[Line]
    things: list[Line]
    stops: list[ForStop]
    has_van: bool

    @property
    def lines(self) -> list[Line]:
        return [*self.prizes, *self.things]

    @property
    def open(self) -> int:
        return sum(one.can_be_ticked and not one.is_in for one in self.lines)


def load_list(shown: RoundShown, now: datetime) -> LoadList:
    """For the stops still ahead; what was ticked stays on it."""
    ahead = shown.ahead or shown.stops
    machines = _machines([one.location.pk for one in ahead])
    ticks = {one.line: one for one in LoadTick.objects.filter(round=shown.round).order_by("at", "pk")}
    prizes = {one.pk: one for one in Prize.objects.all()}
    van, stores = _places(shown.round.person_id)
    held = contents([*stores, *([van.pk] if van else [])])
    stock, mixes = sum(max(0, pieces) for each in held.values() for pieces in each.values()), list(mixes_in_use())
    wanted = wanted_of(shown, machines, stock, mixes, now)
    in_all: Counter[int] = Counter()
    for lines in wanted.values():
        in_all.update(lines)
    picked = picks(
        {pk: in_all[pk] for pk in sorted(in_all, key=lambda pk: prizes[pk].name) if in_all[pk]},
        _before_ticks(held.get(van.pk, {}) if van else {}, ticks),
        {pk: held.get(pk, {}) for pk in stores},
        _alike(prizes, mixes),
    )
    things = things_for([one for each in machines.values() for one in each], shown.round.person_id)
    for thing in things:
        thing.tick = ticks.get(thing.name)
    rows = [_prize_line(one, prizes, stores, ticks) for one in picked]
    stops = [_for_stop(stop, machines[stop.location.pk], wanted, prizes) for stop in ahead]
    return LoadList(rows, things, stops, van is not None)


def _for_stop(
    stop: StopShown, machines: Sequence[Machine], wanted: Mapping[int, Mapping[int, int]], prizes: Mapping[int, Prize]
) -> ForStop:
    return ForStop(stop, [(one, _words(wanted.get(one.pk, {}), prizes)) for one in machines])


def _machines(location_ids: Sequence[int]) -> dict[int, list[Machine]]:
    found: dict[int, list[Machine]] = {pk: [] for pk in location_ids}
    rows = standing().filter(location__in=location_ids).select_related("machine__model").order_by("machine__code")
    for placement in rows:
        found[placement.location_id].append(placement.machine)
    return found


def _places(person: int) -> tuple[Place | None, dict[int, Place]]:
    """The person's van and the stores."""
    places = list(Place.objects.filter(kind__in=(PlaceKind.STORE, PlaceKind.VAN)))
    van = next((one for one in places if one.person_id == person), None)
    return van, {one.pk: one for one in places if one.kind == PlaceKind.STORE}


def _before_ticks(held: Mapping[int, int], ticks: Mapping[str, LoadTick]) -> dict[int, int]:
    """What lay in the van without what was picked for this round, so that a picked line still says how many."""
    picked = {int(name[6:]): one.pieces for name, one in ticks.items() if name.startswith("prize-") and one.on}
    return {pk: pieces - picked.get(pk, 0) for pk, pieces in held.items()}


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


def _prize_line(
    one: Pick, prizes: Mapping[int, Prize], stores: Mapping[int, Place], ticks: Mapping[str, LoadTick]
) -> Line:
    name = f"prize-{one.prize}"
    tick = ticks.get(name)
    if tick and tick.on:
        short = one.wanted - one.in_van - tick.pieces
        beside = f", {one.in_van} in the van already" if one.in_van else ""
        detail, warning = f"of {one.wanted} wanted{beside}", f"{short} short" if short > 0 else ""
        return Line(name, str(prizes[one.prize]), tick.pieces, tick.from_place_id, detail, warning, tick)
    warning = f"{one.short} short" if one.short else ""
    if one.instead:
        prize, pieces = one.instead
        warning += f": take {pieces} {prizes[prize]} instead"
    elif one.short:
        warning += " and nothing like it lies about: load less at the last stops"
    where = f"from {stores[one.store]}" if one.store else ""
    beside = f"{min(one.in_van, one.wanted)} in the van already" if one.in_van else ""
    detail = ", ".join(part for part in (where, beside) if part)
    return Line(name, str(prizes[one.prize]), one.pieces, one.store, detail, warning, tick)


def _words(wanted: Mapping[int, int], prizes: Mapping[int, Prize]) -> str:
    lines = sorted((prizes[pk].name, pieces) for pk, pieces in wanted.items() if pieces)
    return ", ".join(f"{pieces} {name}" for name, pieces in lines)
