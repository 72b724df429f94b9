"""A problem as the solver's model, and its answer as orders of places.

Every place stands in the model once for each day and opening in which it could be visited; of these at most one is
taken. What is left out costs its value, what is wanted at any cost has a value that no way outweighs.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from pyvrp import (
    Activity,
    ActivityType,
    Client,
    ClientGroup,
    Depot,
    Location,
    ProblemData,
    Route,
    Solution,
    VehicleType,
)

from routeapp.planning.rules_drive import Ways, drive
from routeapp.planning.rules_plan import Place, Shift, Worker
from routeapp.planning.rules_sift import Offer, insisted

CENT = 3_600  # units of the model in a cent: whole units for a second at cents per hour, and near enough for a metre
PER_METRE, PER_SECOND = CENT / 1000, CENT // 3600
DAY = 2 * 86_400  # from one day to the next in the model, so that a shift past midnight meets no other
INSISTED = 1_000_000  # cents
ANY = 1_000_000_000
NEIGHBOURS = 15  # found by trying: more make a turn of the search slower than they make it better
WAITING = 0.2  # of a second, for one that is waited between two stops

Orders = Mapping[Shift, Sequence[int]]


@dataclass(frozen=True)
class Model:
    data: ProblemData
    workers: tuple[Worker, ...]  # by vehicle type
    offers: tuple[Offer | None, ...]  # by client; None keeps a shift going that already began

    def solution(self, orders: Orders) -> Solution:
        """A plan made before, as far as it can still be driven."""
        numbers: dict[tuple[int, object], list[int]] = {}
        for number, offer in enumerate(self.offers):
            if offer:
                numbers.setdefault((offer.place.id, offer.day), []).append(number)
        used: set[int] = set()
        routes = []
        for vehicle, worker in enumerate(self.workers):
            wanted = [one for one in orders.get(worker.key, ()) if (one, worker.day) in numbers and one not in used]
            used.update(wanted)
            if visits := self._in_openings(vehicle, [numbers[one, worker.day] for one in wanted]):
                routes.append(Route(self.data, visits, vehicle))
        return Solution(self.data, routes)

    def neighbours(self) -> dict[Activity, list[Activity]]:
        """For each client those after or before which it may well stand: the nearest of the same day, counting the
        wait. Places of other days, which stand as near, would only take up the search's time."""
        days: dict[object, list[int]] = {}
        for number, offer in enumerate(self.offers):
            days.setdefault(offer.day if offer else None, []).append(number)
        known = [Activity(ActivityType.CLIENT, number) for number in range(len(self.offers))]
        near: dict[Activity, list[Activity]] = {one: [] for one in known}
        for numbers in days.values():
            apart = self._apart(numbers)
            for number, row in zip(numbers, apart, strict=True):
                order = np.argsort(row, kind="stable")[:NEIGHBOURS]
                near[known[number]] = [known[numbers[other]] for other in order if np.isfinite(row[other])]
        return near

    def _apart(self, numbers: Sequence[int]) -> np.ndarray:
        """Seconds from the end of one stop to the begin of another, whichever comes first; none for the same place."""
        clients = [self.data.client(number) for number in numbers]
        rows = np.array([client.location for client in clients])
        early, late = (np.array([getattr(one, name) for one in clients]) for name in ("tw_early", "tw_late"))
        done = np.array([client.service_duration for client in clients])[:, None]
        way = self.data.duration_matrix(0)[np.ix_(rows, rows)] + self.data.distance_matrix(0)[np.ix_(rows, rows)] / 20
        wait = np.maximum(early[None, :] - late[:, None] - done - way, 0)
        warp = np.maximum(early[:, None] + done + way - late[None, :], 0)
        cost = way + WAITING * wait + warp
        cost = np.minimum(cost, cost.T)
        places = np.array([offer.place.id if offer else -1 for offer in (self.offers[number] for number in numbers)])
        cost[places[:, None] == places[None, :]] = np.inf
        return cost

    def _in_openings(self, vehicle: int, choices: Sequence[Sequence[int]]) -> list[int]:
        """Of each stop's openings the first that is reached in time."""
        visits: list[int] = []
        for choice in choices:
            tries = [[*visits, number] for number in choice]
            visits = next((one for one in tries if not Route(self.data, one, vehicle).has_time_warp()), visits)
        return visits

    def orders(self, solution: Solution) -> dict[Shift, list[int]]:
        """The ids of places by shift, in order."""
        orders = {}
        for route in solution.routes():
            offers = [self.offers[activity.idx] for activity in route if activity.is_client()]
            orders[self.workers[route.vehicle_type()].key] = [offer.place.id for offer in offers if offer]
        return orders


def model(
    workers: Sequence[Worker],
    offers: Sequence[Sequence[Offer]],
    table: Ways,
    firsts: Mapping[Shift, Sequence[Place]],
) -> Model:
    """The model of these workers and offers (one sequence for each place). `firsts` are driven before all else."""
    rows = sorted({table.rows[one[0].place.id] for one in offers} | _ends_of(workers, table, firsts))
    local = {row: number for number, row in enumerate(rows)}
    days = {day: number for number, day in enumerate(sorted({worker.day for worker in workers}))}
    locks = _locks(workers, offers, firsts)
    clients: list[Client] = []
    groups: list[ClientGroup] = []
    for choice in offers:
        numbers = list(range(len(clients), len(clients) + len(choice)))
        group = len(groups) if len(choice) > 1 else None
        clients += [_client(offer, days[offer.day] * DAY, local, table, locks, group) for offer in choice]
        if group is not None:
            groups.append(ClientGroup(numbers, required=False))
    vehicles, kept = [], []
    for worker in workers:
        vehicle, client = _vehicle(worker, days[worker.day] * DAY, local, table, locks, firsts.get(worker.key, ()))
        vehicles.append(vehicle)
        kept += [client] if client else []
    picked = np.ix_(np.array(rows), np.array(rows))
    places = [Location(0, 0) for _ in rows]
    depots = [Depot(number) for number in range(len(rows))]
    metres, seconds = table.metres[picked], table.seconds[picked]
    data = ProblemData(places, clients + kept, depots, vehicles, [metres], [seconds], groups)
    known = [offer for choice in offers for offer in choice]
    return Model(data, tuple(workers), (*known, *([None] * len(kept))))


def _ends_of(workers: Sequence[Worker], table: Ways, firsts: Mapping[Shift, Sequence[Place]]) -> set[int]:
    pinned = {table.rows[firsts[worker.key][-1].id] for worker in workers if worker.key in firsts}
    return {table.starts[one.key] for one in workers} | {table.ends[one.key] for one in workers} | pinned


def _locks(
    workers: Sequence[Worker], offers: Sequence[Sequence[Offer]], firsts: Mapping[Shift, Sequence[Place]]
) -> dict[Shift, int]:
    """Shifts for which something is reserved, each with a dimension of load that only its own van can carry."""
    pins = [choice[0].place.pin for choice in offers]
    reserved = {(pin.person, pin.day) for pin in pins if pin and pin.person is not None} | set(firsts)
    return {worker.key: number for number, worker in enumerate(w for w in workers if w.key in reserved)}


def _load(load: int, lock: int | None, locks: Mapping[Shift, int]) -> list[int]:
    return [load, *(int(number == lock) for number in range(len(locks)))]


def _client(
    offer: Offer, start: int, local: Mapping[int, int], table: Ways, locks: Mapping[Shift, int], group: int | None
) -> Client:
    place, (opens, closes) = offer.place, offer.window
    lock = locks.get((place.pin.person, place.pin.day)) if place.pin and place.pin.person is not None else None
    value = place.value.get(offer.day, 0) + (INSISTED if insisted(place) else 0)
    return Client(
        local[table.rows[place.id]],
        delivery=_load(place.load, lock, locks),
        service_duration=60 * place.service,
        tw_early=start + 60 * opens,
        tw_late=start + 60 * (closes - place.service),
        prize=max(value, 0) * CENT,
        required=False,
        group=group,
    )


def _vehicle(
    worker: Worker,
    start: int,
    local: Mapping[int, int],
    table: Ways,
    locks: Mapping[Shift, int],
    first: Sequence[Place],
) -> tuple[VehicleType, Client | None]:
    """The shift as a vehicle. One with a fixed beginning starts where that ends, with a client that keeps it going."""
    row, leaves = table.starts[worker.key], 60 * worker.shift[0]
    lock = locks.get(worker.key)
    kept = None
    if first:
        row, leaves = table.rows[first[-1].id], 60 * drive(worker, first, table).stops[-1].departure
        prize, late = INSISTED * CENT, start + leaves
        kept = Client(local[row], _load(0, lock, locks), tw_late=late, prize=prize, required=False)
    brought = sum(place.load for place in first)
    vehicle = VehicleType(
        capacity=_load(max((ANY if worker.capacity is None else worker.capacity) - brought, 0), None, locks),
        start_depot=local[row],
        end_depot=local[table.ends[worker.key]],
        fixed_cost=worker.cost_per_trip * CENT,
        tw_early=start + leaves,
        tw_late=max(start + 60 * worker.shift[1], start + leaves + int(table.seconds[row, table.ends[worker.key]])),
        unit_distance_cost=round(PER_METRE * worker.cost_per_km),
        unit_duration_cost=PER_SECOND * worker.cost_per_hour,
    )
    return _only(vehicle, lock), kept


def _only(vehicle: VehicleType, lock: int | None) -> VehicleType:
    """The vehicle with room for what is reserved for it."""
    if lock is None:
        return vehicle
    capacity = [ANY if number == lock + 1 else amount for number, amount in enumerate(vehicle.capacity)]
    return vehicle.replace(capacity=capacity)
