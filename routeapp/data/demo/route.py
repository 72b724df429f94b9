"""Day by day: vans loaded, rounds driven, boxes emptied, bags counted and banked, prizes ordered again."""

import math
from collections import Counter
from datetime import date, datetime, time, timedelta

from routeapp.data.demo.events import (
    BagCounted,
    BagKept,
    Delivery,
    Report,
    Stop,
    VanLoad,
)
from routeapp.data.demo.names import BOOKS, HAND, OWNER, PRIZES, Prize
from routeapp.data.demo.names_places import ROUNDS
from routeapp.data.demo.oddities import Change
from routeapp.data.demo.service import serve
from routeapp.data.demo.simulation import Cabinet
from routeapp.data.demo.world import PERSON_OF, World, days_between, first_order, place

SEALING = ("Ostrel ferry hall", "Lyric Two Screens")  # too many people about to count money there


def tell(world: World, changes: list[Change]) -> None:
    """Play the whole story, a day at a time; `changes` are what will be done to some cabinets after a stop."""
    _deliver(world, world.start - timedelta(days=2), first_order(world))
    due = {name: world.start.date() + timedelta(days=2 + number) for number, name in enumerate(ROUNDS)}
    orders: list[tuple[datetime, Counter[str]]] = []
    day = world.start.date()
    while day <= world.now.date():
        for change in [one for one in changes if one.is_due(world, day)]:
            changes.remove(change)
            change.do()
        orders = _receive(world, day, orders)
        for name in [name for name, next_day in due.items() if next_day <= day and day.weekday() != 6]:
            _drive(world, name, day)
            due[name] = day + timedelta(days=days_between(name, world.rng))
        _place_new(world, day)
        if day.weekday() == 0:
            _bank(world, day)
            orders += _order(world, day)
        day += timedelta(days=1)
    _hear_the_rest(world)


def clock(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute))


def _place_new(world: World, day: date) -> None:
    for code, (at, site) in list(world.arrives.items()):
        if at.date() <= day:
            place(world, world.cabinets[code], site, at)
            del world.arrives[code]


def _drive(world: World, round_name: str, day: date) -> None:
    person = PERSON_OF[round_name]
    _load_van(world, person.username, clock(day, 8, 30))
    at = clock(day, 10, world.rng.randrange(40))
    for site in world.sites.values():
        cabinets = world.at_site(site.name) if site.round == round_name else []
        if not cabinets or at > world.now - timedelta(hours=1):
            continue
        stop = _visit(world, site.name, cabinets, person.username, at)
        at += timedelta(minutes=stop.minutes + world.rng.randrange(9, 26))
        world.events.append(stop)
        _bring_home(world, stop, day)


def _visit(world: World, site_name: str, cabinets: list[Cabinet], person: str, at: datetime) -> Stop:
    site, sealed = world.sites[site_name], site_name in SEALING
    works = [serve(world, cabinet, person, at, sealed) for cabinet in cabinets]
    for cabinet in cabinets:
        _carry_news(world, cabinet)
    counted = sum(work.cents for work in works if work.cash == "counted")
    owed = counted * world.share_of(site_name, at.date()) // 10_000 // 25 * 25 if site.settled == "visit" else 0
    number = f"{'S' if sealed else 'L'}{at:%y%m%d}-{len(world.events) % 97:02}"
    minutes = 7 + 6 * len(works) + world.rng.randrange(8)
    name = site.contact[0] if owed else ""
    return Stop(at, person, world.id(), site_name, minutes, world.id(), number, works, owed, name)


def _carry_news(world: World, cabinet: Cabinet) -> None:
    """What players wrote from the label since the last stop. What nobody wrote, the person at the cabinet finds."""
    for one in cabinet.news:
        if one.told:
            lost = cabinet.model.price if "money" in one.text.lower() or "paid" in one.text.lower() else None
            contact = f"555-01{world.rng.randrange(50, 90)}" if lost and world.rng.random() < 0.5 else ""
            world.events.append(Report(one.at, "", one.id, cabinet.code, one.text, one.stops_play, lost, contact))
    cabinet.news.clear()


def _hear_the_rest(world: World) -> None:
    """Let everybody play on until now; reports of the last days stay open."""
    for code in sorted(world.standing):
        world.cabinets[code].live_until(world.now)
        _carry_news(world, world.cabinets[code])


def _bring_home(world: World, stop: Stop, day: date) -> None:
    """Sealed bags go into the safe and are counted the same evening; loose ones stay with their person till Monday."""
    if stop.sealed and stop.money() > 0:
        evening = clock(day, 19, world.rng.randrange(10, 50))
        world.events.append(BagKept(evening, stop.person, stop.bag, bank=False))
        lines: Counter[str] = sum((work.lines for work in stop.works), Counter())
        world.events.append(BagCounted(evening + timedelta(minutes=40), BOOKS.username, world.id(), stop.bag, lines))


def _bank(world: World, day: date) -> None:
    """On Mondays the bookkeeper takes last week's bags to the bank."""
    week = clock(day, 0) - timedelta(days=7), clock(day, 0)
    for stop in [one for one in world.events if isinstance(one, Stop) and week[0] <= one.at < week[1]]:
        if stop.money() > 0:
            world.events.append(BagKept(clock(day, 15, 20), BOOKS.username, stop.bag, bank=True))


def _load_van(world: World, person: str, at: datetime) -> None:
    van = world.vans[person]
    lines: Counter[str] = Counter()
    for prize, spec in PRIZES.items():
        if van[prize] < spec.carried * 0.6:
            lines[prize] = min(spec.carried - van[prize], world.store[prize])
    lines = +lines
    if lines:
        world.store -= lines
        van += lines
        world.loaded.append((at.date(), lines))
        world.events.append(VanLoad(at, person, world.id(), lines))


def _order(world: World, day: date) -> list[tuple[datetime, Counter[str]]]:
    """What will not last four weeks, at the pace of the last four, is ordered for ten."""
    recent = sum((pieces for when, pieces in world.loaded if (day - when).days <= 28), Counter())
    short: dict[str, Counter[str]] = {}
    for prize, spec in PRIZES.items():
        weekly = max(spec.carried / 4, recent[prize] / 4)
        if world.store[prize] < 4 * weekly:
            short.setdefault(spec.supplier, Counter())[prize] = math.ceil(10 * weekly / 24) * 24
    return [(clock(day, 9) + timedelta(days=world.rng.randrange(5, 15)), lines) for lines in short.values()]


def _receive(
    world: World, day: date, orders: list[tuple[datetime, Counter[str]]]
) -> list[tuple[datetime, Counter[str]]]:
    for at, lines in orders:
        if at.date() == day:
            _deliver(world, at, lines)
    return [order for order in orders if order[0].date() > day]


def _deliver(world: World, at: datetime, lines: Counter[str]) -> None:
    by_supplier: dict[str, list[tuple[str, int, int]]] = {}
    for prize, pieces in lines.items():
        cost = _price_now(PRIZES[prize], world, at) * pieces
        by_supplier.setdefault(PRIZES[prize].supplier, []).append((prize, pieces, round(cost)))
    for supplier, parts in by_supplier.items():
        person = OWNER.username if world.rng.random() < 0.4 else HAND.username
        paper = f"{supplier.split()[0][:3].upper()} {world.rng.randrange(10_000, 99_999)}"
        world.events.append(Delivery(at, person, world.id(), supplier, paper, parts))
    world.store += lines


def _price_now(prize: Prize, world: World, at: datetime) -> float:
    """Prizes get dearer by about four percent a year, and no two orders cost the same."""
    years = (at - world.start).days / 365
    return prize.cents * (1 + 0.04 * years) * world.rng.uniform(0.96, 1.05)
