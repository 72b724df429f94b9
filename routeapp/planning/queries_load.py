"""The load list of a round: what to put into the van, from where, for which stop, and what is in it already."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from machines.cabinets.models import Machine
from routeapp.kit.people import called
from routeapp.planning.models_rounds import Round
from routeapp.planning.queries_picks import Picked, Stores, picked
from routeapp.planning.queries_rounds import RoundShown, StopShown, loaded_before
from routeapp.planning.queries_things import Line, things_for
from routeapp.planning.rules_pick import Pick
from routeapp.stock.models import Prize


@dataclass(frozen=True)
class ForStop:
    """What one stop gets: (cabinet, prizes in words)."""

    stop: StopShown
    cabinets: list[tuple[Machine, str]]


@dataclass(frozen=True)
class LoadList:
    """`before` are the rounds that take from the stores first."""

    prizes: list[Line]
    things: list[Line]
    stops: list[ForStop]
    has_van: bool
    before: list[RoundShown]

    @property
    def lines(self) -> list[Line]:
        return [*self.prizes, *self.things]

    @property
    def open(self) -> int:
        return sum(one.can_be_ticked and not one.is_in for one in self.lines)


def load_list(shown: RoundShown, now: datetime) -> LoadList:
    """For the stops still ahead; what was ticked stays on it."""
    found = picked([*loaded_before(shown, now), shown], now)
    *others, own = found.rounds
    cabinets = [one for stop in shown.to_load for one in found.machines[stop.location.pk]]
    things = things_for(cabinets, shown.round.person_id)
    for thing in things:
        thing.tick = own.ticks.get(thing.name)
    return LoadList(
        [_prize_line(one, found) for one in own.picks],
        things,
        [_for_stop(stop, found.machines[stop.location.pk], own, found.prizes) for stop in shown.to_load],
        shown.round.person_id in found.vans,
        [one.shown for one in others if one.takes],
    )


def _for_stop(stop: StopShown, machines: Sequence[Machine], own: Picked, prizes: Mapping[int, Prize]) -> ForStop:
    return ForStop(stop, [(one, _words(own.wanted.get(one.pk, {}), prizes)) for one in machines])


def _prize_line(one: Pick, found: Stores) -> Line:
    name, prizes = f"prize-{one.prize}", found.prizes
    tick = found.rounds[-1].ticks.get(name)
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
    where = f"from {found.stores[one.store]}" if one.store else ""
    beside = f"{min(one.in_van, one.wanted)} in the van already" if one.in_van else ""
    others = _for_others(one.prize, found) if one.pieces or one.short else ""  # there is enough for all
    detail = ", ".join(part for part in (where, beside, others) if part)
    return Line(name, str(prizes[one.prize]), one.pieces, one.store, detail, warning, tick)


def _for_others(prize: int, found: Stores) -> str:
    """What is for the rounds before this one of a prize, in words."""
    *others, own = found.rounds
    mine = [one for one in others if one.shown.round.person_id == own.shown.round.person_id]
    store = [(one.takes[prize], _whose(one.shown.round, own.shown.round)) for one in others if one.takes[prize]]
    van = [(one.carries[prize], _whose(one.shown.round, own.shown.round)) for one in mine if one.carries[prize]]
    said = [_shared(f"of {found.pieces(prize)} in store", store), _shared("more in the van", van)]
    return ", ".join(part for part in said if part)


def _shared(where: str, parts: Sequence[tuple[int, str]]) -> str:
    if not parts:
        return ""
    (first, whose), *more = parts
    are = "is" if first == 1 else "are"
    return ", ".join([f"{first} {where} {are} for {whose}", *(f"{pieces} for {each}" for pieces, each in more)])


def _whose(other: Round, own: Round) -> str:
    on = "" if other.day == own.day else f" of {other.day:%a} {other.day.day} {other.day:%b}"
    return f"the round{on}" if other.person_id == own.person_id else f"{called(other.person)}'s round{on}"


def _words(wanted: Mapping[int, int], prizes: Mapping[int, Prize]) -> str:
    lines = sorted((prizes[pk].name, pieces) for pk, pieces in wanted.items() if pieces)
    return ", ".join(f"{pieces} {name}" for name, pieces in lines)
