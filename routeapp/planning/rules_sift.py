"""Which visits are possible at all, each as an offer to the solver; the rest with the reason in words."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from routeapp.planning.rules_drive import Ways
from routeapp.planning.rules_plan import Place, Problem, Shift, Window, Worker

NO_COORDINATES = "It has no coordinates, so the way to it is not known."
NOBODY = "Nobody works on these days."
NOT_ON_DAYS = "Nobody works on the days on which it may be visited."
CLOSED = "It is closed on every day that somebody works."
TOO_SHORT = "The stop takes longer than it is ever open at a stretch."
TOO_MUCH = "It needs more prizes than a van holds."
OUT_OF_REACH = "There and back does not fit between its opening hours and the shifts."
NOTHING = "A visit gains nothing yet."


@dataclass(frozen=True)
class Offer:
    """One place on one day in one opening."""

    place: Place
    day: date
    window: Window


@dataclass(frozen=True)
class Sifted:
    offers: Mapping[int, tuple[Offer, ...]]  # by place, at least one each
    refused: Mapping[int, str]  # by place, why it cannot be
    firsts: Mapping[Shift, tuple[Place, ...]]  # what was pinned with an order, in that order


def sift(problem: Problem, table: Ways) -> Sifted:
    workers: dict[date, list[Worker]] = {}
    for worker in problem.workers:
        workers.setdefault(worker.day, []).append(worker)
    offers: dict[int, tuple[Offer, ...]] = {}
    refused: dict[int, str] = {}
    firsts = _firsts(problem)
    first_ids = {place.id for order in firsts.values() for place in order}
    for place in problem.places:
        if place.id not in first_ids:
            found = _offers(place, workers, table)
            if isinstance(found, str):
                refused[place.id] = found
            else:
                offers[place.id] = found
    return Sifted(offers, refused, firsts)


def _firsts(problem: Problem) -> dict[Shift, tuple[Place, ...]]:
    shifts = {worker.key for worker in problem.workers}
    firsts: dict[Shift, list[tuple[int, Place]]] = {}
    for place in problem.places:
        pin = place.pin
        if pin is None or pin.order is None or pin.person is None or not place.located:
            continue
        if (pin.person, pin.day) in shifts:
            firsts.setdefault((pin.person, pin.day), []).append((pin.order, place))
    return {key: tuple(place for _, place in sorted(order, key=lambda one: one[0])) for key, order in firsts.items()}


def _offers(place: Place, workers: Mapping[date, Sequence[Worker]], table: Ways) -> tuple[Offer, ...] | str:
    """What can be offered of a place, or why nothing can: the first hurdle that no day takes."""
    if not place.located:
        return NO_COORDINATES
    if not workers:
        return NOBODY
    days = {day: some for day in _days(place, workers) if (some := _allowed(place, workers[day]))}
    if not days:
        return NOT_ON_DAYS
    opened = [Offer(place, day, window) for day in days for window in place.windows.get(day, ())]
    if not opened:
        return CLOSED
    wide = [offer for offer in opened if offer.window[1] - offer.window[0] >= place.service]
    if not wide:
        return TOO_SHORT
    able = {day: [one for one in some if _holds(one, place)] for day, some in days.items()}
    if not any(able[offer.day] for offer in wide):
        return TOO_MUCH
    reached = [offer for offer in wide if any(_fits(offer, worker, table) for worker in able[offer.day])]
    if not reached:
        return OUT_OF_REACH
    paying = [offer for offer in reached if place.value.get(offer.day, 0) > 0 or insisted(place)]
    return tuple(paying) or NOTHING


def insisted(place: Place) -> bool:
    """Whether the visit is wanted whatever it costs."""
    return place.must_by is not None or place.pin is not None


def _days(place: Place, workers: Mapping[date, object]) -> Iterator[date]:
    """The days on which somebody works and the place may be visited. One that is late may be visited on any."""
    days = sorted(workers)
    if place.pin:
        return (day for day in days if day == place.pin.day)
    open_days = [day for day in days if place.not_before is None or day >= place.not_before]
    in_time = [day for day in open_days if place.must_by is None or day <= place.must_by]
    return iter(in_time or open_days)


def _allowed(place: Place, workers: Sequence[Worker]) -> list[Worker]:
    person = place.pin.person if place.pin else None
    return [worker for worker in workers if person is None or worker.person == person]


def _holds(worker: Worker, place: Place) -> bool:
    return worker.capacity is None or worker.capacity >= place.load


def _fits(offer: Offer, worker: Worker, table: Ways) -> bool:
    """Whether a shift that serves this offer alone is back in time."""
    row = table.rows[offer.place.id]
    there = 60 * worker.shift[0] + int(table.seconds[table.starts[worker.key], row])
    done = max(there, 60 * offer.window[0]) + 60 * offer.place.service
    back = done + int(table.seconds[row, table.ends[worker.key]])
    return done <= 60 * offer.window[1] and back <= 60 * worker.shift[1]
