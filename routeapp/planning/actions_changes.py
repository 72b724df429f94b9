"""Changing a round: by hand, or what is ahead of it planned anew from where its person is.

Ways are asked for and orders searched before anything is locked: others go on writing meanwhile.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from locations.sites.models import Location
from routeapp.kit import audit, clock
from routeapp.kit.errors import Refused
from routeapp.planning import queries_crew, queries_problem, queries_rounds
from routeapp.planning.actions_versions import append
from routeapp.planning.models_rounds import Round, RoundPlan, RoundStop
from routeapp.planning.queries_problem import Asked, not_located
from routeapp.planning.queries_rounds import RoundShown
from routeapp.planning.rules_drive import follow
from routeapp.planning.rules_plan import Plan, Point, Route, Worker
from routeapp.planning.rules_result import too_long
from routeapp.planning.rules_solve import solve
from routeapp.team.queries import business

MOST_STOPS = 200
GONE = "This round was dropped meanwhile. Nothing was changed."
MEANWHILE = "This round changed meanwhile and stays as it is now. Look at it, and say again what is to change."
SECONDS = 0.8


def change_round(*, round: Round, order: Sequence[int], pinned: Collection[int], by: Any, at: datetime) -> RoundPlan:
    """Drive these locations in this order; what is behind already stays first.

    Refuses a dropped round, one that changes meanwhile, places that are none, and no stop at all: drop the round then.
    Says the same twice and nothing is written.
    """
    old = _seen(round)
    behind = [one.stop for one in old.stops if not one.is_ahead]
    order = [pk for pk in dict.fromkeys(order) if pk not in {stop.location_id for stop in behind}]
    if not order and not behind:
        raise Refused("A round needs a stop. Drop the round if nobody is to drive it.")
    _refuse_what_is_gone(order)
    same = [one.location.pk for one in old.ahead] == order
    if same and {one.location.pk for one in old.ahead if one.stop.pinned} == set(pinned) & set(order):
        return old.plan
    asked, worker = _asked(old, order, at)
    plan = follow(replace(asked.problem, workers=(worker,)), {worker.key: order})
    return _replace(old, plan, asked, worker, behind, set(pinned), "Changed by hand.", not_located(asked), by, at)


def replan_rest(*, round: Round, by: Any, at: datetime) -> RoundPlan:
    """Plan what is ahead anew, from where its person is now. Pinned stops are driven first, in their order.

    Refuses a dropped round, one that changes meanwhile, and one with nothing ahead.
    """
    old = _seen(round)
    order = [one.location.pk for one in old.ahead]
    if not order:
        raise Refused("Nothing is ahead on this round.")
    behind = [one.stop for one in old.stops if not one.is_ahead]
    asked, worker = _asked(old, order, at)
    pinned = [one.location.pk for one in old.ahead if one.stop.pinned]
    places = queries_problem.in_order(asked.problem.places, worker.person, worker.day, pinned)
    problem = replace(asked.problem, workers=(worker,), places=places)
    plan = solve(problem, seconds=SECONDS, warm=follow(problem, {worker.key: order}))
    said = [f"Left out: {asked.locations[left.place]}. {left.reason}" for left in plan.left]
    if not plan.routes and not behind:
        raise Refused(" ".join(["No stop fits into what is left of the day.", *said]))
    return _replace(old, plan, asked, worker, behind, set(pinned), "The rest planned anew.", said, by, at)


def _refuse_what_is_gone(order: Sequence[int]) -> None:
    if len(order) > MOST_STOPS:
        raise Refused(f"A round has {MOST_STOPS} stops at most. It stays as it was.")
    known = Location.objects.in_bulk(order)
    if len(known) < len(order):
        raise Refused("One of these places is not there any more. Open the round anew.")
    if shut := next((one for one in known.values() if one.closed_on), None):
        raise Refused(f"{shut} is closed for good. Take it out of the round first; it stays as it was.")


def _seen(round: Round) -> RoundShown:
    one = Round.objects.select_related("person__driver").get(pk=round.pk)
    if one.dropped_at:
        raise Refused(GONE)
    return queries_rounds.shown([one])[0]


def _locked(round: Round) -> RoundShown:
    Round.objects.select_for_update().get(pk=round.pk)
    return _seen(round)


def _refuse_if_changed(new: RoundShown, old: RoundShown) -> None:
    if new.plan != old.plan or [one.stop for one in new.ahead] != [one.stop for one in old.ahead]:
        raise Refused(MEANWHILE)


def _says_the_same(made: RoundPlan, old: RoundPlan, stops: list[tuple[int, bool]], why: str, by: Any) -> bool:
    """Whether what was made of `old` meanwhile is this very change, sent twice."""
    there = [(stop.location_id, stop.pinned) for stop in made.stops.all()]
    return (made.number, made.why, made.by_id, there) == (old.number + 1, why, by.pk, stops)


def _asked(old: RoundShown, order: Sequence[int], at: datetime) -> tuple[Asked, Worker]:
    """The problem of what is ahead of one round, and its person's shift from here and now on."""
    zone, day = business().time_zone, old.round.day
    driver = queries_crew.driver_of(old.round.person)
    if driver is None:
        raise Refused(f"{old.round.person} drives no longer. Say under “Who drives” how they do.")
    places = Location.objects.filter(pk__in=order).prefetch_related("opening_hours")
    before = queries_problem.kept(one.stop for one in old.stops)
    asked = queries_problem.asked([driver], [day], at, zone, places, before)
    worker = queries_problem.worker_of(driver, day)
    if worker is None:
        raise Refused(f"{driver} has no shift on a {day:%A}. Write it down under “Who drives” first.")
    return asked, _from_here(worker, old, at, zone)


def _from_here(worker: Worker, old: RoundShown, at: datetime, zone: str) -> Worker:
    """On the day itself the shift starts now, and at the last stop that was made."""
    local = clock.local_day(at, zone)
    if local != worker.day:
        return worker
    now = at.astimezone(ZoneInfo(zone))
    minutes = now.hour * 60 + now.minute
    made = [one.location for one in old.stops if one.visit and one.location.latitude is not None]
    start = Point(float(made[-1].latitude), float(made[-1].longitude), made[-1].pk) if made else worker.start
    began = max(worker.shift[0], minutes)
    return replace(worker, start=start, shift=(began, max(began, worker.shift[1])))


@transaction.atomic
def _replace(
    old: RoundShown,
    plan: Plan,
    asked: Asked,
    worker: Worker,
    behind: Sequence[RoundStop],
    pinned: Collection[int],
    why: str,
    said: Sequence[str],
    by: Any,
    at: datetime,
) -> RoundPlan:
    nothing = Route(worker.person, worker.day, worker.shift[0], worker.shift[0], (), 0, 0)
    route = plan.routes[0] if plan.routes else nothing
    stops = [(stop.location_id, stop.pinned) for stop in behind]
    stops += [(stop.place, stop.place in pinned) for stop in route.stops]
    new = _locked(old.round)
    if _says_the_same(new.plan, old.plan, stops, why, by):
        return new.plan
    _refuse_if_changed(new, old)
    zone = business().time_zone
    over = route.returns - worker.shift[1]
    late = f"It ends {over} minutes after the shift does." if over > 0 else ""
    tiring = too_long(route, queries_crew.most_driving(worker.person), old.driven)
    remarks = [*asked.remarks, *said, *filter(None, (late, tiring))]
    made = append(
        old.round,
        route,
        asked.needs,
        zone,
        why=why,
        by=by,
        at=at,
        before=behind,
        set_out=old.plan.starts_at if behind else None,
        driven=old.driven,
        pinned=pinned,
        remarks=remarks,
    )
    audit.record("changed a round", old.round, by=by, at=at)
    return made
