"""The whole story: a world with its oddities, told day by day, in the order in which the office learns of things."""

from datetime import datetime, timedelta

from routeapp.data.demo.events import BagKept, Banked, Event
from routeapp.data.demo.oddities import Change, amend, fate
from routeapp.data.demo.route import tell
from routeapp.data.demo.simulation import Quirks
from routeapp.data.demo.world import World, make_world

SEED, MONTHS, LOCATIONS = 11, 18, 22


def begin(now: datetime, *, seed: int, months: float, locations: int) -> tuple[World, list[Change]]:
    """The world on its first day, and what fate holds for it. Equal for equal seeds; `now` is local."""
    world = make_world(now, seed, months, locations)
    changes = fate(world)
    fit_readers(world)
    try_a_prize(world)
    return world, changes


def fit_readers(world: World) -> None:
    """A few cabinets without other oddities take cards, since some months ago."""
    plain = [one for _, one in sorted(world.cabinets.items()) if one.model.kind == "claw" and one.quirks == Quirks()]
    for number, cabinet in enumerate(plain[:READERS]):
        cabinet.reader_from = max(world.start, world.now - timedelta(days=150 - 20 * number))


def try_a_prize(world: World) -> None:
    """Some weeks ago a claw cabinet at each of a few places got one more prize, a few days after one another."""
    places: dict[str, str] = {}
    for code, (_, site) in sorted(world.arrives.items()):
        if world.cabinets[code].model.kind == "claw" and world.cabinets[code].quirks == Quirks():
            places.setdefault(site, code)
    for number, code in enumerate(sorted(places.values())[:TRIED_AT]):
        world.cabinets[code].tries_from = max(world.start, world.now - timedelta(days=65 - 6 * number))


READERS, TRIED_AT = 4, 6


def play(world: World, changes: list[Change]) -> list[Event]:
    """Everything that happens until now."""
    tell(world, changes)
    amend(world)
    known = [one for one in world.events if one.known <= world.now]
    return sorted(_one_deposit_a_way(known), key=lambda one: one.known)


def _one_deposit_a_way(events: list[Event]) -> list[Event]:
    """Bags that went to the bank at the same moment went together."""
    ways: dict[datetime, Banked] = {}
    rest: list[Event] = []
    for one in events:
        if isinstance(one, BagKept) and one.bank:
            ways.setdefault(one.at, Banked(one.at, one.person, [])).bags.append(one.bag)
        else:
            rest.append(one)
    return [*rest, *ways.values()]
