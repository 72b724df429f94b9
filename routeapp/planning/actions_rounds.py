"""Making rounds of a proposal or by hand, and dropping them.

Nothing planned is overwritten: each change is a new version of its round.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction

from locations.sites.models import Location
from routeapp.kit import audit, clock
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.people import called
from routeapp.planning import queries_crew, queries_problem, queries_rounds
from routeapp.planning.actions_versions import append
from routeapp.planning.models_rounds import Proposal, Round, State
from routeapp.planning.queries_needs import Need
from routeapp.planning.queries_problem import Asked, not_located
from routeapp.planning.queries_rounds import RoundShown
from routeapp.planning.rules_drive import follow
from routeapp.planning.rules_plan import Route
from routeapp.planning.rules_result import from_json
from routeapp.team.queries import business

ROUNDS = "rounds"  # held while rounds are made, before any of their rows


@transaction.atomic
def use_proposal(*, proposal: Proposal, by: Any, at: datetime) -> list[Round]:
    """Make its routes the rounds of their people and days: new ones, or new versions of those that are there. Rounds
    in its days that it has no route for are dropped. What is on the road already stays. Used twice is used once.

    Refuses one that found nothing yet or broke off, and one whose days have passed. One that is still thought out ends
    with this.
    """
    proposal = Proposal.objects.select_for_update().get(pk=proposal.pk)
    plan, kept = from_json(proposal.result.get("plan", {})), proposal.result.get("needs", {})
    if proposal.state == State.USED:
        return list(Round.objects.filter(plans__proposal=proposal))
    if proposal.state == State.FAILED:
        raise Refused("This plan broke off. Plan anew.")
    if not plan.routes:
        raise Refused("There is no round in this plan yet.")
    lock(ROUNDS)
    zone = business().time_zone
    today = clock.local_day(at, zone)
    if any(route.day < today for route in plan.routes):
        raise Refused("Some of these days have passed meanwhile. Plan anew.")
    there = {(one.round.person_id, one.round.day): one for one in _there(proposal)}
    made = []
    for route in plan.routes:
        old = there.pop(route.key, None)
        if old is None or not _is_on_the_road(old):
            needs = {int(pk): _need(each) for pk, each in kept.items()}
            made.append(_write(route, old, needs, zone, proposal, by, at))
    for spare in there.values():
        if not _is_on_the_road(spare) and spare.round.day >= today:
            _drop(spare.round, "A newer plan leaves it out.", by, at)
    proposal.state = State.USED
    proposal.save(update_fields=["state"])
    audit.record("took into use", proposal, by=by, at=at)
    return made


def _need(kept: Mapping[str, Any]) -> Need:
    expected = {int(pk): each for pk, each in kept.get("expected", {}).items()}
    on = date.fromisoformat(kept["on"]) if kept.get("on") else None
    return Need(reasons=kept.get("reasons", ()), on=on, expected=expected)


def _there(proposal: Proposal) -> list[RoundShown]:
    last = proposal.first_day.toordinal() + proposal.days - 1
    days = (proposal.first_day, date.fromordinal(last))
    found = Round.objects.filter(person__in=proposal.drivers.values("person"), day__range=days, dropped_at=None)
    return queries_rounds.shown(list(found.select_for_update().order_by("pk")))


def _is_on_the_road(one: RoundShown) -> bool:
    return len(one.ahead) < one.number


def _write(
    route: Route,
    old: RoundShown | None,
    needs: Mapping[int, Need],
    zone: str,
    proposal: Proposal,
    by: Any,
    at: datetime,
) -> Round:
    """A new round, or a new version of one; a version that says the same as the last one is not written."""
    if old is not None and [one.location.pk for one in old.stops] == [stop.place for stop in route.stops]:
        return old.round
    one = old.round if old else Round.objects.create(uuid=uuid4(), person_id=route.person, day=route.day, by=by, at=at)
    why = "Planned." if old is None else "Planned anew."
    append(one, route, needs, zone, why=why, proposal=proposal, by=by, at=at)
    audit.record("planned a round" if old is None else "planned a round anew", one, by=by, at=at)
    return one


@transaction.atomic
def drop_round(*, round: Round, because: str, by: Any, at: datetime) -> None:
    """Nobody drives it; it stays readable, and calendars show it as cancelled. Dropped twice is dropped once."""
    one = Round.objects.select_for_update().get(pk=round.pk)
    if one.dropped_at is None:
        _drop(one, because, by, at)


def _drop(one: Round, because: str, by: Any, at: datetime) -> None:
    one.dropped_at, one.dropped_by, one.dropped_because = at, by, because
    one.save(update_fields=["dropped_at", "dropped_by", "dropped_because"])
    audit.record("dropped a round", one, by=by, at=at)


def make_round(*, uuid: UUID, person: Any, day: date, order: Sequence[int], by: Any, at: datetime) -> Round:
    """A round put together by hand. The same id again answers with the round it made; a second round of a person on
    one day is refused."""
    driver = queries_crew.driver_of(person)
    worker = queries_problem.worker_of(driver, day) if driver else None
    if driver is None or worker is None:
        raise Refused("This person has no shift on that day. Write it down under “Who drives” first.", "day")
    places = Location.objects.filter(pk__in=order).prefetch_related("opening_hours")
    asked = queries_problem.asked([driver], [day], at, business().time_zone, places)
    plan = follow(replace(asked.problem, workers=(worker,)), {worker.key: list(order)})
    if not plan.routes:
        raise Refused("None of these places has coordinates, so no round can be planned there.")
    return _put_together(uuid, person, plan.routes[0], asked, by, at)


@transaction.atomic
def _put_together(uuid: UUID, person: Any, route: Route, asked: Asked, by: Any, at: datetime) -> Round:
    lock(ROUNDS)
    if found := Round.objects.filter(pk=uuid).first():
        return found
    if Round.objects.filter(person=person, day=route.day, dropped_at=None).exists():
        raise Refused(f"{called(person)} has a round on that day. Change that one.", "day")
    one = Round.objects.create(uuid=uuid, person=person, day=route.day, by=by, at=at)
    why, lost = "Put together by hand.", not_located(asked)
    append(one, route, asked.needs, business().time_zone, why=why, by=by, at=at, remarks=lost)
    audit.record("planned a round", one, by=by, at=at)
    return one
