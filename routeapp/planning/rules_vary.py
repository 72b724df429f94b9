"""Rounds that strangers cannot learn: the same stops on other days and at other hours, within a stated cost."""

from collections.abc import Iterator, Mapping, Sequence

from routeapp.planning.rules_drive import follow, ways
from routeapp.planning.rules_habit import Been
from routeapp.planning.rules_plan import Plan, Problem, Shift

ALIKE = 60  # minutes; a stop as much later is another hour for who watches
MOST_TRIES = 400

Orders = Mapping[Shift, tuple[int, ...]]
Past = Mapping[int, Sequence[Been]]


def sameness(plan: Plan, past: Past) -> float:
    """How often these stops were made at nearly the same hour before; twice that where the weekday is the same too."""
    return sum(
        (1 + (one.day.weekday() == route.day.weekday())) * (1 - abs(one.minute - stop.begin) / ALIKE)
        for route in plan.routes
        for stop in route.stops
        for one in past.get(stop.place, ())
        if abs(one.minute - stop.begin) < ALIKE
    )


def vary(problem: Problem, plan: Plan, past: Past, cents: int) -> Plan:
    """The plan least like what was driven before that gains at most `cents` less. Pinned places stay where they are.

    Tries turning parts of rounds around and swapping two days of one person; takes the best, and tries once more.
    """
    if cents <= 0 or not plan.routes or any(place.pin for place in problem.places):
        return plan
    table, floor = ways(problem), plan.gain - cents
    best, least = plan, sameness(plan, past)
    for _ in range(2):
        for orders in _others(best.orders):
            other = follow(problem, orders, table)
            if other.gain >= floor and _is_sound(other, problem) and (same := sameness(other, past)) < least:
                best, least = other, same
    return Plan(best.routes, plan.left)


def _others(orders: Orders) -> Iterator[Orders]:
    tries = 0
    for shift, order in orders.items():
        for start in range(len(order) - 1):
            for end in range(len(order), start + 1, -1):
                tries += 1
                if tries > MOST_TRIES:
                    return
                turned = (*order[:start], *reversed(order[start:end]), *order[end:])
                yield {**orders, shift: turned}
    for one in orders:
        for other in orders:
            if one[0] == other[0] and one[1] < other[1]:
                yield {**orders, one: orders[other], other: orders[one]}


def _is_sound(plan: Plan, problem: Problem) -> bool:
    """No visit at a closed door, everybody home in time, nothing sooner than it may or later than it must be."""
    ends = {worker.key: worker.shift[1] for worker in problem.workers}
    places = {place.id: place for place in problem.places}
    for route in plan.routes:
        if route.returns > ends[route.key]:
            return False
        for stop in route.stops:
            place = places[stop.place]
            late = place.must_by is not None and route.day > place.must_by
            early = place.not_before is not None and route.day < place.not_before
            if stop.note or late or early:
                return False
    return True
