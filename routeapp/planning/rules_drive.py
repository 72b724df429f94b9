"""Driving given orders of places: when each stop is reached, what the round costs and what it gains."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from routeapp.planning.rules_plan import Place, Plan, Problem, Route, Shift, Stop, Window, Worker
from routeapp.planning.rules_travel import Named, matrices

HOUR, KILOMETRE = 3600, 1000


@dataclass(frozen=True)
class Ways:
    """The ways between the located places of a problem and the points where its workers start and end."""

    metres: np.ndarray
    seconds: np.ndarray
    rows: Mapping[int, int]  # the row of a place
    starts: Mapping[Shift, int]
    ends: Mapping[Shift, int]


def ways(problem: Problem) -> Ways:
    named: list[Named] = [(place.lat, place.lon, place.id) for place in problem.places if place.located]
    rows = {place.id: row for row, place in enumerate(place for place in problem.places if place.located)}
    seen: dict[object, int] = {}
    starts: dict[Shift, int] = {}
    ends: dict[Shift, int] = {}
    for worker in problem.workers:
        for point, side in ((worker.start, starts), (worker.end, ends)):
            if point not in seen:
                seen[point] = len(named)
                named.append((point.lat, point.lon, point.key) if point else (None, None, None))
            side[worker.key] = seen[point]
    return Ways(*matrices(named, problem.travel), rows, starts, ends)


def window_at(windows: Sequence[Window], service: int, moment: float) -> Window | None:
    """The next opening in which a stop of `service` minutes reached at `moment` can be finished."""
    for opens, closes in windows:
        if max(opens, moment) + service <= closes:
            return opens, closes
    return None


@dataclass(frozen=True)
class _Halt:
    """One stop in seconds; `late` is the last moment to begin in the same opening."""

    place: Place
    arrival: int
    begin: int
    late: int
    metres: int
    note: str


def drive(worker: Worker, places: Sequence[Place], table: Ways) -> Route:
    """One shift in the order given. It leaves as late as it can without being later anywhere; and later still where
    that saves waiting while a door is closed for lunch."""
    first = drive_early(worker, places, table)
    if all(stop.begin == stop.arrival for stop in first.stops):
        return first
    tries = [first, *(_driven(worker, places, table, start) for start in _starts(worker, places, table))]
    return min(tries, key=lambda route: (sum(stop.note != "" for stop in route.stops), route.note != "", route.cost))


def drive_early(worker: Worker, places: Sequence[Place], table: Ways) -> Route:
    """The same, nowhere later than it has to be."""
    return _driven(worker, places, table, 60 * worker.shift[0])


def _starts(worker: Worker, places: Sequence[Place], table: Ways) -> list[int]:
    """When to leave to reach a stop just as it opens again on that day."""
    here, ahead, found = table.starts[worker.key], 0, set()
    for place in places:
        row = table.rows[place.id]
        ahead += int(table.seconds[here, row])
        found |= {60 * opens - ahead for opens, _ in place.windows.get(worker.day, ())[1:]}
        here, ahead = row, ahead + 60 * place.service
    return sorted(start for start in found if start > 60 * worker.shift[0])


def _driven(worker: Worker, places: Sequence[Place], table: Ways, start: int) -> Route:
    halts = _halts(worker, places, table, start)
    end = table.ends[worker.key]
    last = table.rows[places[-1].id] if places else table.starts[worker.key]
    done = halts[-1].begin + 60 * halts[-1].place.service if halts else start
    back = done + int(table.seconds[last, end])
    metres = sum(halt.metres for halt in halts) + int(table.metres[last, end])
    later = _later_start(halts)
    leaves = start + later
    cost = cost_of(worker, metres, back - leaves) if places else 0
    stops = tuple(_stop(halt, worker) for halt in _moved(halts, later))
    note = "It ends after the shift does." if back > 60 * worker.shift[1] else ""
    return Route(worker.person, worker.day, _minutes(leaves), _minutes(back), stops, metres, cost, note)


def cost_of(worker: Worker, metres: int, seconds: int) -> int:
    """Cents of a trip, rounded once."""
    exact = worker.cost_per_km * metres / KILOMETRE + worker.cost_per_hour * seconds / HOUR
    return worker.cost_per_trip + int(exact + 0.5)


def _halts(worker: Worker, places: Sequence[Place], table: Ways, start: int) -> list[_Halt]:
    halts = []
    here, moment = table.starts[worker.key], start
    for place in places:
        row = table.rows[place.id]
        arrival = moment + int(table.seconds[here, row])
        window = window_at(place.windows.get(worker.day, ()), place.service, arrival / 60)
        begin = max(arrival, 60 * window[0]) if window else arrival
        late = 60 * (window[1] - place.service) if window else begin
        note = "" if window else "It is closed then, or closes before the work is done."
        halts.append(_Halt(place, arrival, begin, late, int(table.metres[here, row]), note))
        here, moment = row, begin + 60 * place.service
    return halts


def _later_start(halts: Sequence[_Halt]) -> int:
    """Seconds by which the start can wait: less waiting at doors, and no stop moves past its opening."""
    waited, room = 0, None
    for halt in halts:
        waited += halt.begin - halt.arrival
        slack = waited + halt.late - halt.begin
        room = slack if room is None else min(room, slack)
    return min(waited, room or 0)


def _moved(halts: Sequence[_Halt], later: int) -> list[_Halt]:
    """The same stops when the start waits: each wait takes up some of it."""
    moved = []
    for halt in halts:
        arrival = halt.arrival + later
        begin = max(arrival, halt.begin)
        moved.append(_Halt(halt.place, arrival, begin, halt.late, halt.metres, halt.note))
        later = begin - halt.begin
    return moved


def _stop(halt: _Halt, worker: Worker) -> Stop:
    place = halt.place
    departure = halt.begin + 60 * place.service
    value = place.value.get(worker.day, 0)
    return Stop(
        place.id, _minutes(halt.arrival), _minutes(halt.begin), _minutes(departure), halt.metres, value, halt.note
    )


def _minutes(seconds: int) -> int:
    return (seconds + 30) // 60


def follow(problem: Problem, orders: Mapping[Shift, Sequence[int]], table: Ways | None = None) -> Plan:
    """The plan that drives these orders as they stand, right or wrong, and leaves the rest: to show what a person
    arranged by hand, or what the fixed round costs. Ids that are not known or have no coordinates are passed over."""
    table = table or ways(problem)
    places = {place.id: place for place in problem.places if place.located}
    routes = []
    for worker in sorted(problem.workers, key=lambda one: (one.day, one.person)):
        order = [places[one] for one in orders.get(worker.key, ()) if one in places]
        if order:
            routes.append(drive(worker, order, table))
    return Plan(tuple(routes), ())


def detours(worker: Worker, order: Sequence[int], rows: np.ndarray, service: np.ndarray, table: Ways) -> np.ndarray:
    """Cents of the cheapest place in a shift's order for each of `rows`, as if there were time."""
    chain = [table.starts[worker.key], *(table.rows[one] for one in order), table.ends[worker.key]]
    costs = []
    for here, there in zip(chain, chain[1:], strict=False):
        metres = table.metres[here, rows] + table.metres[rows, there] - table.metres[here, there] * bool(order)
        seconds = table.seconds[here, rows] + table.seconds[rows, there] - table.seconds[here, there] * bool(order)
        costs.append(worker.cost_per_km * metres / KILOMETRE + worker.cost_per_hour * (seconds + service) / HOUR)
    return np.min(costs, axis=0) + (0 if order else worker.cost_per_trip)
