"""The whole story: a world, its oddities, told day by day, in the order in which the office learns of things."""

from datetime import datetime

from routeapp.data.demo.events import Event
from routeapp.data.demo.oddities import amend, fate
from routeapp.data.demo.route import tell
from routeapp.data.demo.world import World, make_world

SEED, MONTHS, LOCATIONS = 11, 18, 22


def make_story(
    now: datetime, *, seed: int = SEED, months: float = MONTHS, locations: int = LOCATIONS
) -> tuple[World, list[Event]]:
    """The world as it stands in the end and all that happened, up to the local moment `now`; equal for equal seeds."""
    world = make_world(now, seed, months, locations)
    tell(world, fate(world))
    amend(world)
    known = [one for one in world.events if one.known <= now]
    return world, sorted(known, key=lambda one: one.known)
