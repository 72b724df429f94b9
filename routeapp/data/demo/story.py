"""The whole story: a world with its oddities, told day by day, in the order in which the office learns of things."""

from datetime import datetime

from routeapp.data.demo.events import Event
from routeapp.data.demo.oddities import Change, amend, fate
from routeapp.data.demo.route import tell
from routeapp.data.demo.world import World, make_world

SEED, MONTHS, LOCATIONS = 11, 18, 22


def begin(now: datetime, *, seed: int, months: float, locations: int) -> tuple[World, list[Change]]:
    """The world on its first day, and what fate holds for it. Equal for equal seeds; `now` is local."""
    world = make_world(now, seed, months, locations)
    return world, fate(world)


def play(world: World, changes: list[Change]) -> list[Event]:
    """Everything that happens until now."""
    tell(world, changes)
    amend(world)
    known = [one for one in world.events if one.known <= world.now]
    return sorted(known, key=lambda one: one.known)
