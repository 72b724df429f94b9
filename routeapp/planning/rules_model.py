"""A problem as the solver's model, and its answer as orders of places.

All days lie over one another: each shift is a vehicle with a table of ways of its own, in money. Into it goes what a
visit on that day is worth less than on the best one, and a fence around places that are closed or meant for somebody
else, so that a place stands in the model only once for each stretch of opening hours. (With a copy for each day, the
search has to take a place out of one day before it can try another, and finds far dearer rounds.) What is left out
costs its value; what is wanted at any cost has a value that no way outweighs.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from pyvrp import Client, ClientGroup, Depot, Location, ProblemData, Route, Solution, VehicleType

from routeapp.planning.rules_drive import Ways, drive_early
from routeapp.planning.rules_plan import Place, Shift, Window, Worker
from routeapp.planning.rules_sift import Offer, insisted

CENT = 3_600  # units of the model in a cent: a second at cents per hour is whole, a metre at cents per km near enough
INSISTED = 1_000_000  # cents
DEAREST = 1_000_000  # cents a visit may be worth, so that no value climbs a fence
FENCE = 5_000_000  # cents
ANY = 1_000_000_000

Orders = Mapping[Shift, Sequence[int]]


@dataclass(frozen=True)
class Copy:
    """One place in one stretch of its opening hours, with what a visit is worth on each day that has it."""

    place: Place
    window: Window
    value: Mapping[date, int]

    @property
    def best(self) -> int:
        return max(self.value.values())

    def fence(self, worker: Worker) -> int:
        """Cents that a shift is to pay for coming here on its day instead of the best one."""
        pin = self.place.pin
        if worker.day not in self.value or (pin and pin.person not in (None, worker.person)):
            return FENCE
        return self.best - self.value[worker.day]


@dataclass(frozen=True)
class Model:
    data: ProblemData
    workers: tuple[Worker, ...]  # by vehicle type
    copies: tuple[Copy | None, ...]  # by client; None keeps a shift going that already began

    def solution(self, orders: Orders) -> Solution:
        """A plan made before, as far as it can still be driven."""
        numbers: dict[int, list[int]] = {}
        for number, copy in enumerate(self.copies):
            if copy:
                numbers.setdefault(copy.place.id, []).append(number)
        used: set[int] = set()
        routes = []
        for vehicle, worker in enumerate(self.workers):
            wanted = [one for one in orders.get(worker.key, ()) if one in numbers and one not in used]
            if visits := self._in_openings(vehicle, [numbers[one] for one in wanted]):
                used.update(wanted)
                routes.append(Route(self.data, visits, vehicle))
        return Solution(self.data, routes)

    def _in_openings(self, vehicle: int, choices: Sequence[Sequence[int]]) -> list[int]:
        """Of each stop's openings on that day the first that is reached in time."""
        visits: list[int] = []
        day = self.workers[vehicle].day
        for choice in choices:
            known = [number for number in choice if (copy := self.copies[number]) and day in copy.value]
            tries = [[*visits, number] for number in known]
            visits = next((one for one in tries if not Route(self.data, one, vehicle).has_time_warp()), visits)
        return visits

    def orders(self, solution: Solution) -> dict[Shift, list[int]]:
        """The ids of places by shift, in order."""
        orders = {}
        for route in solution.routes():
            copies = [self.copies[activity.idx] for activity in route if activity.is_client()]
            orders[self.workers[route.vehicle_type()].key] = [copy.place.id for copy in copies if copy]
        return orders


def model(
    workers: Sequence[Worker],
    offers: Sequence[Sequence[Offer]],
    table: Ways,
    firsts: Mapping[Shift, Sequence[Place]],
) -> Model:
    """The model of these workers and offers (one sequence for each place). `firsts` are driven before all else."""
    copies: list[Copy] = []
    clients: list[Client] = []
    groups: list[ClientGroup] = []
    for choice in offers:
        several = _copies(choice)
        group = len(groups) if len(several) > 1 else None
        clients += [_client(copy, len(copies) + number, group) for number, copy in enumerate(several)]
        if group is not None:
            groups.append(ClientGroup(list(range(len(copies), len(copies) + len(several))), required=False))
        copies += several
    begun = [worker for worker in workers if worker.key in firsts]
    starts = {worker.key: _start(worker, firsts.get(worker.key, ()), table) for worker in workers}
    clients += [_keeping(starts[worker.key][1], len(copies) + number) for number, worker in enumerate(begun)]
    ends = [table.ends[worker.key] for worker in workers]
    rows = [table.rows[copy.place.id] for copy in copies] + [starts[worker.key][0] for worker in begun]
    depots = sorted({*ends, *(row for row, _ in starts.values())})
    depot = {row: number for number, row in enumerate(depots)}
    vehicles = [
        _vehicle(worker, number, depot, starts[worker.key], firsts.get(worker.key, ()), table)
        for number, worker in enumerate(workers)
    ]
    rows += depots
    picked = np.ix_(np.array(rows), np.array(rows))
    money: list[Any] = [_money(worker, table.metres[picked], copies, begun) for worker in workers]
    seconds: list[Any] = [table.seconds[picked]] * len(workers)
    places = [Location(0, 0) for _ in rows]
    fixed = [Depot(len(rows) - len(depots) + number) for number in range(len(depots))]
    data = ProblemData(places, clients, fixed, vehicles, money, seconds, groups)
    return Model(data, tuple(workers), (*copies, *([None] * len(begun))))


def _copies(choice: Sequence[Offer]) -> list[Copy]:
    values: dict[Window, dict[date, int]] = {}
    for offer in choice:
        value = min(max(offer.place.value.get(offer.day, 0), 0), DEAREST)
        values.setdefault(offer.window, {})[offer.day] = value
    return [Copy(choice[0].place, window, value) for window, value in values.items()]


def _client(copy: Copy, location: int, group: int | None) -> Client:
    place, (opens, closes) = copy.place, copy.window
    return Client(
        location,
        delivery=[place.load],
        service_duration=60 * place.service,
        tw_early=60 * opens,
        tw_late=60 * (closes - place.service),
        prize=(copy.best + (INSISTED if insisted(place) else 0)) * CENT,
        required=False,
        group=group,
    )


def _start(worker: Worker, first: Sequence[Place], table: Ways) -> tuple[int, int]:
    """Where and when (in seconds) what is left of a shift starts."""
    if not first:
        return table.starts[worker.key], 60 * worker.shift[0]
    return table.rows[first[-1].id], 60 * drive_early(worker, first, table).stops[-1].departure


def _keeping(leaves: int, location: int) -> Client:
    """A stop of no length where a fixed beginning ends, so that the way home from there is never saved."""
    return Client(location, [0], tw_late=leaves, prize=INSISTED * CENT, required=False)


def _vehicle(
    worker: Worker, number: int, depot: Mapping[int, int], start: tuple[int, int], first: Sequence[Place], table: Ways
) -> VehicleType:
    row, leaves = start
    end = table.ends[worker.key]
    room = (ANY if worker.capacity is None else worker.capacity) - sum(place.load for place in first)
    return VehicleType(
        capacity=[max(room, 0)],
        start_depot=depot[row],
        end_depot=depot[end],
        fixed_cost=worker.cost_per_trip * CENT,
        tw_early=leaves,
        tw_late=max(60 * worker.shift[1], leaves + int(table.seconds[row, end])),
        unit_distance_cost=1,
        unit_duration_cost=worker.cost_per_hour * CENT // 3600,
        profile=number,
    )


def _money(worker: Worker, metres: np.ndarray, copies: Sequence[Copy], begun: Sequence[Worker]) -> np.ndarray:
    """What each way costs this shift, with the fence around where it leads."""
    ways = np.rint(metres * (worker.cost_per_km * CENT / 1000)).astype(np.int64)
    fences = [copy.fence(worker) for copy in copies] + [0 if one is worker else FENCE for one in begun]
    ways[:, : len(fences)] += np.array(fences, dtype=np.int64) * CENT
    np.fill_diagonal(ways, 0)
    return ways
