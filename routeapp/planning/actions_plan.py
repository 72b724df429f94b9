"""Thinking out a proposal in the background: the page that waits for it can be left."""

import logging
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import OperationalError, connection, transaction

from routeapp.kit import clock, money
from routeapp.kit.errors import Refused
from routeapp.kit.once import refuse_another, same
from routeapp.planning import queries_driven, queries_problem
from routeapp.planning.models_rounds import Driver, Proposal, State
from routeapp.planning.queries_problem import HOURS_UNKNOWN, Asked
from routeapp.planning.rules_plan import Plan
from routeapp.planning.rules_result import as_json, too_long
from routeapp.planning.rules_solve import solve
from routeapp.planning.rules_vary import vary
from routeapp.team.queries import business

AT_ONCE = 1  # seconds of thinking that a request waits for
MOST_DAYS = 14
TELL_EVERY = 0.5  # seconds
SIGN_EVERY = 30  # seconds, while another plan is thought out
TRIES = 3  # to write down what came of it
_turn = threading.Lock()  # one plan at a time: each would take a processor from the others and from the pages


def start(
    *,
    uuid: UUID,
    first_day: date,
    days: int,
    drivers: Sequence[Driver],
    vary_cents: int,
    seconds: int,
    by: Any,
    at: datetime,
) -> Proposal:
    """Begin to think; started twice under one id is started once. Refuses nobody to drive.

    It writes no line of the log: nothing changes until the plan is taken into use, and a line would have pages that
    are kept in memory put together anew.
    """
    if not drivers:
        raise Refused("Choose who drives.", "drivers")
    with transaction.atomic():
        said = {"first_day": first_day, "days": days, "vary_cents": vary_cents, "seconds": seconds}
        one, made = Proposal.objects.get_or_create(uuid=uuid, defaults={**said, "by": by, "at": at})
        if not made:
            refuse_another({*one.drivers.all()}, {*drivers})
            return same(one, **said)
        one.drivers.set(drivers)
        if seconds > AT_ONCE:
            thread = threading.Thread(target=_think_alone, args=(one, at), daemon=True)
            transaction.on_commit(thread.start)
    if seconds <= AT_ONCE:
        _think(one, at)
    return one


def _think_alone(one: Proposal, at: datetime) -> None:
    try:
        while not _turn.acquire(timeout=SIGN_EVERY):
            _tell(one, _begun())
        try:
            _think(one, at)
        finally:
            _turn.release()
    finally:
        connection.close()


def _think(one: Proposal, at: datetime) -> None:
    here = business()
    money.activate(here.currency)
    try:
        _end(one, _solved(one, at, here.time_zone), State.READY)
    except _Used:
        pass
    except Exception:
        logging.getLogger(__name__).exception("A plan broke off")
        _end(one, one.result, State.FAILED)


def _solved(one: Proposal, at: datetime, zone: str) -> dict[str, Any]:
    began, begun = time.monotonic(), _begun()
    days = [date.fromordinal(one.first_day.toordinal() + number) for number in range(one.days)]
    drivers = list(one.drivers.select_related("person", "vehicle").prefetch_related("shifts"))
    where = queries_problem.with_cabinets()
    begins = queries_problem.at_once(drivers, days, at, zone, where)
    _tell(one, {**begun, "plan": as_json(begins), "is_as_today": True})
    asked = queries_problem.asked(drivers, days, at, zone, where)
    told = {**begun, **_about(asked), "fixed": as_json(queries_problem.as_today(asked.problem, asked.past))}
    hears = _Hears(one, told)
    plan = solve(asked.problem, seconds=one.seconds, on_better=hears)
    varied = vary(asked.problem, plan, queries_driven.been_by_place(asked.past), one.vary_cents)
    if varied.orders != plan.orders:
        told["varied"] = plan.gain - varied.gain
    told["remarks"] = [*told["remarks"], *_tiring(varied, drivers)]
    took = round(time.monotonic() - began, 1)
    return {**told, "plan": as_json(varied), "better": hears.times, "took": took}


def _tiring(plan: Plan, drivers: Sequence[Driver]) -> list[str]:
    """Rounds with more time at the wheel than was written down for their people."""
    most = {driver.person_id: driver for driver in drivers}
    long = [(route, too_long(route, most[route.person].most_driving)) for route in plan.routes]
    return [f"{most[route.person]} on {route.day:%A}: {words}" for route, words in long if words]


def _about(asked: Asked) -> dict[str, Any]:
    """What is kept beside the plan, so that using it later needs no figure worked out anew."""
    known = {place.id for place in asked.problem.places}
    needs = {
        str(pk): {
            "reasons": list(need.reasons),
            "on": need.on.isoformat() if need.on else None,
            "expected": {str(key): dict(each) for key, each in need.expected.items()},
        }
        for pk, need in asked.needs.items()
        if pk in known
    }
    unknown = [str(one) for one in asked.locations.values() if not one.opening_hours.all()]
    remarks = [*asked.remarks, *([f"{HOURS_UNKNOWN} {', '.join(unknown)}."] if unknown else [])]
    return {"needs": needs, "remarks": remarks}


class _Hears:
    """Keeps each better plan where the waiting page looks, twice a second at most; the first one at once."""

    def __init__(self, one: Proposal, told: dict[str, Any]) -> None:
        self.one, self.told, self.times, self.last = one, told, 0, 0.0

    def __call__(self, plan: Plan) -> None:
        self.times += 1
        if time.monotonic() - self.last > TELL_EVERY:
            self.last = time.monotonic()
            _tell(self.one, {**self.told, "plan": as_json(plan), "better": self.times})


class _Used(Exception):
    """Somebody took an earlier answer into use: there is nothing more to think out."""


def _begun() -> dict[str, Any]:
    return {"began": clock.now().isoformat()}


def _tell(one: Proposal, result: dict[str, Any]) -> None:
    """Unless others write for so long that the next word is soon enough."""
    with suppress(OperationalError):
        if not _settle(one, result, State.THINKING):
            raise _Used


def _end(one: Proposal, result: dict[str, Any], state: State) -> None:
    """Where others write for longer than one waits, again."""
    for _ in range(TRIES - 1):
        with suppress(OperationalError):
            _settle(one, result, state)
            return
    _settle(one, result, state)


@transaction.atomic
def _settle(one: Proposal, result: dict[str, Any], state: State) -> bool:
    """Whether it was kept: not once somebody took an earlier answer into use."""
    one.result = result
    return bool(Proposal.objects.filter(pk=one.pk, state=State.THINKING).update(result=result, state=state))
