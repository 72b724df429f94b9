"""What does not go smoothly: each oddity that the pages have words for happens to a cabinet or a stop of its own."""

import copy
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import NamedTuple

from routeapp.data.demo.events import BagCounted, BagKept, Event, MeterSwap, Stop, Terms
from routeapp.data.demo.names import OWNER
from routeapp.data.demo.simulation import Quirks
from routeapp.data.demo.world import World, place, take_away

WORN_GRIP, ROLLS_OVER, SHORT, OUT_OF_ORDER = "C-001", "C-002", "C-005", "C-006"
MOVED, MOVED_TO = "C-010", "Varrow pier café"
QUESTION, BROKEN_INTO, METER_REPLACED = "C-013", "C-011", "C-016"
SILENT, METER_SET_BACK = "C-017", "C-018"
NEVER_COUNTED = "C-015"  # its prizes meter tells what was won
LATE_AT, CORRECTED_AT, WITHDRAWN_AT = "Quillhaven camp shop", "The Brass Turbot", "Varrow pier café"
NEW_TERMS = {"The Brass Turbot": (0.5, 500), "Ostrel ferry hall": (0.6, 500)}


class Change(NamedTuple):
    """Something done to a cabinet on the first stop after a day, once its box is empty and its meters are read."""

    after: date
    cabinet: str
    do: Callable[[], None]

    def is_due(self, world: World, day: date) -> bool:
        served = world.cabinets[self.cabinet].clock.date()
        return day >= self.after and served == day - timedelta(days=1)


def fate(world: World) -> list[Change]:
    """Give the odd cabinets their quirks, and say what will be done to others."""
    cabinets, now = world.cabinets, world.now
    cabinets[SHORT].quirks = Quirks(skimmed=0.05)
    cabinets[WORN_GRIP].quirks = Quirks(worn=(world.part(0.35).date(), now.date()))
    cabinets[BROKEN_INTO].quirks = Quirks(broken_into_after=world.part(0.7))
    cabinets[SILENT].quirks = Quirks(silent_from=now - timedelta(days=24))
    cabinets[NEVER_COUNTED].quirks = Quirks(counted=False)
    dial = cabinets[ROLLS_OVER].dials["money_in"]
    dial.value = 10**dial.digits - 30 * 90
    for name, (share, more) in NEW_TERMS.items():
        starts = world.part(share).date()
        world.shares[name].append((starts, world.sites[name].share + more))
    for name, terms in world.shares.items():
        site = world.sites[name]
        for number, (starts, share) in enumerate(terms):
            note = "Talked it over at the counter: a better spot for a better share." if number else ""
            at = max(world.start, datetime.combine(starts, datetime.min.time()) - timedelta(days=9))
            agreed = share, site.settled, site.paid, note
            world.events.append(Terms(at + timedelta(hours=16), OWNER.username, name, starts, *agreed))
    return [
        Change(world.part(0.45).date(), MOVED, lambda: _move(world)),
        Change((now - timedelta(days=26)).date(), OUT_OF_ORDER, lambda: _break_down(world)),
        Change(world.part(0.5).date(), METER_SET_BACK, lambda: _set_back(world)),
        Change(world.part(0.55).date(), METER_REPLACED, lambda: _replace_meter(world)),
    ]


def _move(world: World) -> None:
    cabinet = world.cabinets[MOVED]
    take_away(world, cabinet, cabinet.clock + timedelta(minutes=30), "More people pass at the pier", "spare")
    place(world, cabinet, MOVED_TO, cabinet.clock + timedelta(hours=4))


def _break_down(world: World) -> None:
    cabinet = world.cabinets[OUT_OF_ORDER]
    because = "Main board burnt out, waiting for a new one"
    take_away(world, cabinet, cabinet.clock + timedelta(minutes=30), because, "out_of_order")


def _set_back(world: World) -> None:
    cabinet = world.cabinets[METER_SET_BACK]
    cabinet.was_set_back = True
    for dial in cabinet.dials.values():
        dial.value = 0


def _replace_meter(world: World) -> None:
    cabinet = world.cabinets[METER_REPLACED]
    at = cabinet.clock + timedelta(minutes=5)
    cabinet.dials["money_in"].value = 12
    world.events.append(MeterSwap(at, OWNER.username, cabinet.code, "money_in", 12))


def amend(world: World) -> None:
    """What goes wrong with the papers: sent late, typed wrong, sent twice, read wrong, left uncounted."""
    _send_late(world, _plain_stop(world, LATE_AT))
    _type_wrong(world, _stop(world, CORRECTED_AT, -3))
    _send_twice(world, _stop(world, WITHDRAWN_AT, -4))
    _misread(world)
    _weigh(world)
    _leave_uncounted(world)


def stops_at(world: World, site: str) -> list[Stop]:
    return [one for one in world.events if isinstance(one, Stop) and one.site == site]


def _stop(world: World, site: str, place: int) -> Stop:
    found = stops_at(world, site)
    return found[place % len(found)]


def _plain_stop(world: World, site: str) -> Stop:
    """One of the last stops but not the last, at which no fault was found that a later one could mend."""
    plain = [stop for stop in stops_at(world, site)[:-4] if not any(work.faults for work in stop.works)]
    return plain[-1]


def _with(world: World, cabinet: str) -> list[Stop]:
    stops = [one for one in world.events if isinstance(one, Stop)]
    return [one for one in stops if any(work.cabinet == cabinet for work in one.works)]


def _about(world: World, bag: object) -> list[Event]:
    return [one for one in world.events if isinstance(one, BagKept | BagCounted) and one.bag == bag]


def _send_late(world: World, stop: Stop) -> None:
    """The phone lay in a drawer: this stop arrives after the next one there."""
    following = next(one for one in stops_at(world, stop.site) if one.at > stop.at)
    stop.received_at = following.at + timedelta(hours=27)
    stop.note = "Phone was flat, sent when I found the charger."
    for one in _about(world, stop.bag):
        one.at = max(one.at, stop.received_at + timedelta(minutes=30))


def _type_wrong(world: World, stop: Stop) -> None:
    """One amount was typed with two digits swapped; the next evening it is put right."""
    wrong, right = stop, copy.deepcopy(stop)
    work = max(wrong.works, key=lambda one: one.cents)
    digits = str(work.cents)
    work.how, work.lines = "amount", type(work.lines)()
    work.cents = int(digits[1] + digits[0] + digits[2:]) if digits[0] != digits[1] else work.cents + 1800
    right.id, right.replaces, right.reason = world.id(), wrong.id, "Two digits of the cash were swapped"
    right.received_at = stop.at + timedelta(hours=31)
    for one in right.works:
        one.id, one.photo = world.id(), world.id() if one.photo else None
    world.events.append(right)


def _send_twice(world: World, stop: Stop) -> None:
    """Somebody entered the same stop again from paper; it is withdrawn the next day."""
    again = copy.deepcopy(stop)
    again.id, again.bag, again.at = world.id(), world.id(), stop.at + timedelta(minutes=2)
    again.received_at, again.bag_number = stop.at + timedelta(hours=9), f"{stop.bag_number}b"
    for one in again.works:
        one.id, one.photo, one.mixes, one.loaded = world.id(), None, type(one.mixes)(), type(one.loaded)()
        one.faults, one.fixed, one.settings, one.found = [], {}, {}, type(one.found)()
    world.events.append(again)
    reason = "Entered twice: once on the phone, once from the notepad"
    undo = Stop(again.at, again.person, world.id(), stop.site, stop.minutes, world.id(), "", [], void=True)
    undo.replaces, undo.reason, undo.received_at = again.id, reason, stop.at + timedelta(hours=26)
    world.events.append(undo)


def _misread(world: World) -> None:
    work = next(one for one in _with(world, QUESTION)[-1].works if one.cabinet == QUESTION)
    work.readings = {counts: value // 3 for counts, value in work.readings.items()}


def _weigh(world: World) -> None:
    """The coins of one box are weighed, so only whole piles of one coin are known."""
    for stop in reversed(_with(world, SHORT)):
        work = next(one for one in stop.works if one.cabinet == SHORT)
        if work.cash == "counted":
            work.how = "weight"
            return


def _leave_uncounted(world: World) -> None:
    for site in world.sites:
        sealed = [stop for stop in stops_at(world, site) if stop.sealed]
        if sealed:
            gone = _about(world, sealed[-1].bag)
            world.events = [one for one in world.events if one not in gone]
