"""The business on paper at the start: its floors, cabinets, vans, and who stands where when."""

import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from uuid import UUID

from routeapp.data.demo.events import Event, Left, Placed
from routeapp.data.demo.names import HAND, MIXES, MODELS, OWNER, PRIZES
from routeapp.data.demo.names_places import CROWDS, ROUNDS, SITES, Site
from routeapp.data.demo.simulation import Cabinet, Dial, Floor

PERSON_OF = {"harbour": HAND, "shore": HAND, "inland": HAND, "isle": OWNER}
DAYS_A_MONTH = 30.5


@dataclass
class World:
    """Moments are local and naive; `start` is the first midnight of the story, `now` where it ends."""

    start: datetime
    now: datetime
    rng: random.Random
    sites: dict[str, Site]
    floors: dict[str, Floor]
    cabinets: dict[str, Cabinet] = field(default_factory=dict)
    arrives: dict[str, tuple[datetime, str]] = field(default_factory=dict)  # when and where a cabinet is first placed
    standing: dict[str, str] = field(default_factory=dict)  # cabinet code → site name
    vans: dict[str, Counter[str]] = field(default_factory=dict)
    store: Counter[str] = field(default_factory=Counter)
    loaded: list[tuple[date, Counter[str]]] = field(default_factory=list)
    shares: dict[str, list[tuple[date, int]]] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)

    def id(self) -> UUID:
        return UUID(int=self.rng.getrandbits(128), version=4)

    def at_site(self, site: str) -> list[Cabinet]:
        return [self.cabinets[code] for code, where in sorted(self.standing.items()) if where == site]

    def part(self, share: float) -> datetime:
        """The midnight when `share` of the story is told."""
        days = (self.now - self.start).days
        return self.start + timedelta(days=int(days * share))

    def share_of(self, site: str, day: date) -> int:
        return [share for starts, share in self.shares[site] if starts <= day][-1]


def make_world(now: datetime, seed: int, months: float, locations: int) -> World:
    """A world that starts `months` before `now` with the first `locations` of the list, and one spare cabinet."""
    rng = random.Random(seed)
    start = datetime.combine(now.date(), time.min) - timedelta(days=round(months * DAYS_A_MONTH))
    sites = {site.name: site for site in SITES[:locations]}
    floors = {
        name: Floor(CROWDS[site.crowd], site.pull, start.date(), random.Random(f"{seed} {name}"))
        for name, site in sites.items()
    }
    world = World(start, now, rng, sites, floors)
    world.vans = {person.username: Counter() for person in set(PERSON_OF.values())}
    world.shares = {name: [(start.date(), site.share)] for name, site in sites.items()}
    for site in sites.values():
        for place, model in enumerate(site.cabinets):
            cabinet = _make_cabinet(world, model, floors[site.name], seed)
            early = place == 0 or rng.random() < 0.6
            day = rng.uniform(0, 0.02) if early else rng.uniform(0.05, 0.4)
            world.arrives[cabinet.code] = (world.part(day) + timedelta(hours=17, minutes=30), site.name)
    _make_cabinet(world, "dory", next(iter(floors.values())), seed)  # the spare
    return world


def _make_cabinet(world: World, key: str, floor: Floor, seed: int) -> Cabinet:
    model, code = MODELS[key], f"C-{len(world.cabinets) + 1:03}"
    rng = random.Random(f"{seed} {code}")
    cabinet = Cabinet(code, model, floor, world.start, rng)
    for meter in model.meters:
        pulses = model.price // meter.value_cents if meter.value_cents else 1
        cabinet.dials[meter.counts] = Dial(meter.digits, pulses, rng.randrange(200, 9000))
    world.cabinets[code] = cabinet
    return cabinet


def days_between(round_name: str, rng: random.Random) -> int:
    usual = ROUNDS[round_name]
    return max(5, min(21, usual + rng.choice((-2, -1, 0, 0, 1, 2))))


def opening_fill(cabinet: Cabinet) -> Counter[str]:
    """What a cabinet should hold on its first day, in its own mix."""
    fill: Counter[str] = Counter()
    mix = MIXES[cabinet.model.mixes[0]]
    for prize, pieces in mix.items():
        fill[prize] = pieces * (cabinet.room // sum(mix.values()))
    return fill


def first_order(world: World) -> Counter[str]:
    """Enough for every first day and some weeks."""
    wanted = Counter({prize: 6 * spec.carried for prize, spec in PRIZES.items()})
    for cabinet in world.cabinets.values():
        wanted += opening_fill(cabinet)
    return wanted


def place(world: World, cabinet: Cabinet, site: str, at: datetime) -> None:
    """Stand a cabinet at a location, filled from the store."""
    cabinet.floor, cabinet.clock = world.floors[site], at
    fill = opening_fill(cabinet)
    fill = Counter({prize: min(pieces, world.store[prize]) for prize, pieces in fill.items()})
    world.store -= fill
    cabinet.contents += fill
    cabinet.carried = set(cabinet.contents)
    world.standing[cabinet.code] = site
    opening = {counts: dial.value for counts, dial in cabinet.dials.items()}
    person = PERSON_OF[world.sites[site].round].username
    world.events.append(
        Placed(at, person, world.id(), cabinet.code, site, opening, +fill, _first_settings(cabinet, world.rng))
    )


def take_away(world: World, cabinet: Cabinet, at: datetime, because: str, status: str) -> None:
    """End a placement right after a visit; the prizes stay inside."""
    person = PERSON_OF[world.sites[world.standing.pop(cabinet.code)].round].username
    world.events.append(Left(at, person, cabinet.code, because, status))


def _first_settings(cabinet: Cabinet, rng: random.Random) -> dict[str, int]:
    if cabinet.model.kind == "claw":
        return {"grip_strength": rng.randrange(46, 60, 2), "payout_target": round(1 / cabinet.model.chance),
                "play_seconds": rng.choice((20, 25, 30)), "credits_per_coin": 1}  # fmt: skip
    if cabinet.model.kind == "pusher":
        return {"payout_target": round(1 / cabinet.model.chance), "credits_per_coin": 1}
    return {}
