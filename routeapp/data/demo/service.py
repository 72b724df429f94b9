"""What a person does at one cabinet: test, read, empty, count, load, set, mend."""

from collections import Counter
from datetime import datetime, timedelta

from routeapp.data.demo.events import Found, Work, worth
from routeapp.data.demo.names import CURES, MIXES, TRIED, TRIED_PIECES
from routeapp.data.demo.simulation import Cabinet
from routeapp.data.demo.world import World

BULK = ("capsule", "sticker")  # nobody counts three hundred stickers one by one


def serve(world: World, cabinet: Cabinet, person: str, at: datetime, sealed: bool) -> Work:
    """Let the cabinet live until `at` and do what is done at a stop."""
    rng, kind = world.rng, cabinet.model.kind
    cabinet.live_until(at)
    tests_before = rng.randrange(1, 4) if rng.random() < 0.08 else 0
    cabinet.test(tests_before)
    readings = {counts: dial.value for counts, dial in cabinet.dials.items()}
    work = Work(world.id(), cabinet.code, readings, "not_taken", Counter(), 0, tests_before=tests_before)
    work.explained_as = "reset" if cabinet.was_set_back else ""
    cabinet.was_set_back = False
    if kind != "sticker" or rng.random() < 0.6:
        _take_cash(work, cabinet, world, sealed)
    _count_prizes(work, cabinet, world)
    _load(work, cabinet, world.vans[person])
    _mend(work, cabinet, world, at)
    _adjust(work, cabinet, world)
    odd = rng.random() < 0.03
    work.checks = {check: not (odd and number == 0) for number, check in enumerate(cabinet.model.checks.splitlines())}
    return work


def _take_cash(work: Work, cabinet: Cabinet, world: World, sealed: bool) -> None:
    estimate = cabinet.paid_cents
    work.lines = cabinet.empty_box()
    if world.rng.random() < 0.06 and work.lines["c25"] > 8:
        work.lines["c25"] += world.rng.choice((-3, -2, -1, -1, 1))  # counting is done by people
    work.cents = worth(work.lines)
    work.cash = "sealed" if sealed else "counted"
    work.estimate = estimate if sealed else 0
    if world.rng.random() < 0.12 and not sealed:
        work.how = "amount"


def _count_prizes(work: Work, cabinet: Cabinet, world: World) -> None:
    if not cabinet.quirks.counted:
        return
    work.estimated = cabinet.model.kind in BULK
    known = set(cabinet.contents) | cabinet.carried
    for prize in sorted(known):
        pieces = cabinet.contents[prize]
        off = world.rng.gauss(1, 0.04) if work.estimated and pieces else 1
        work.found[prize] = round(pieces * off)


def _load(work: Work, cabinet: Cabinet, van: Counter[str]) -> None:
    """Whole mixes while the van has them; then single prizes when it has not."""
    for name in cabinet.model.mixes:
        mix = MIXES[name]
        times = cabinet.room // sum(mix.values()) // (2 if name != cabinet.model.mixes[-1] else 1)
        times = min([times, *(van[prize] // pieces for prize, pieces in mix.items())])
        if times > 0:
            work.mixes[name] = times
            _put(cabinet, van, Counter({prize: pieces * times for prize, pieces in mix.items()}))
    if cabinet.room > cabinet.model.capacity * 0.3:
        work.loaded = _singles(cabinet, van)
        _put(cabinet, van, work.loaded)
    if cabinet.tries_from and cabinet.clock >= cabinet.tries_from:
        tried = +Counter({TRIED: min(TRIED_PIECES - cabinet.contents[TRIED], van[TRIED])})
        work.loaded += tried
        _put(cabinet, van, tried)
    cabinet.carried = set(cabinet.contents)


def _singles(cabinet: Cabinet, van: Counter[str]) -> Counter[str]:
    wanted = sorted({prize for name in cabinet.model.mixes for prize in MIXES[name]})
    each = cabinet.room // len(wanted)
    return +Counter({prize: min(each, van[prize]) for prize in wanted})


def _put(cabinet: Cabinet, van: Counter[str], pieces: Counter[str]) -> None:
    van -= pieces
    cabinet.contents += pieces


def _mend(work: Work, cabinet: Cabinet, world: World, at: datetime) -> None:
    """What players told is known by its report; the rest is found now. One in eight has to wait for a part."""
    left = []
    for trouble in cabinet.troubles:
        if not trouble.told and trouble in cabinet.news:
            work.faults.append(Found(trouble.id, trouble.text, trouble.stops_play))
            if world.rng.random() < 0.6:
                work.photo = world.id()
        if not trouble.stops_play and at - trouble.at < timedelta(days=25) and world.rng.random() < 0.12:
            left.append(trouble)
        else:
            work.fixed[trouble.id] = world.rng.choice(CURES)
    cabinet.troubles = left


def _adjust(work: Work, cabinet: Cabinet, world: World) -> None:
    """Now and then the grip is turned a little and tried out."""
    if cabinet.model.kind == "claw" and world.rng.random() < 0.05:
        work.settings = {"grip_strength": world.rng.randrange(44, 62, 2)}
        work.tests_after = 3
    elif work.fixed and world.rng.random() < 0.5:
        work.tests_after = world.rng.randrange(1, 4)
    cabinet.test(work.tests_after)
