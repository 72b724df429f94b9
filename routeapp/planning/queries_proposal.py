"""A proposal as its page shows it: rounds, what is left and why, and what it earns over driving on as people do."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.contrib.auth import get_user_model

from locations.sites.models import Location
from routeapp.planning.models_rounds import Proposal, State
from routeapp.planning.rules_plan import Left, Plan, Route, Stop
from routeapp.planning.rules_result import driving, from_json, moment, visits

PATIENCE = timedelta(seconds=90)  # beyond its time to think; more and the server ended meanwhile


@dataclass(frozen=True)
class StopLine:
    stop: Stop
    location: Location | None
    at: datetime
    reasons: list[str]


@dataclass(frozen=True)
class RouteLine:
    route: Route
    person: Any
    leaves: datetime
    returns: datetime
    stops: list[StopLine]

    @property
    def km(self) -> float:
        return self.route.metres / 1000

    @property
    def driving(self) -> int:
        return driving(self.route)


@dataclass(frozen=True)
class Figures:
    """A plan in money and visits."""

    visits: int
    cost: int
    value: int

    @property
    def gain(self) -> int:
        return self.value - self.cost


@dataclass(frozen=True)
class ProposalShown:
    proposal: Proposal
    routes: list[RouteLine]
    left: list[tuple[Location | None, Left]]
    figures: Figures
    fixed: Figures
    remarks: list[str]
    is_stopped: bool
    varied: int | None

    @property
    def is_thinking(self) -> bool:
        return self.proposal.state == State.THINKING and not self.is_stopped

    @property
    def is_ready(self) -> bool:
        return self.proposal.state == State.READY

    @property
    def can_be_used(self) -> bool:
        """Also while it is still thought out, or if the server ended meanwhile: the best so far."""
        return self.proposal.state in (State.READY, State.THINKING)

    @property
    def is_as_today(self) -> bool:
        """Whether it only tells of driving on as people do, as long as nothing is forecast."""
        return self.proposal.result.get("is_as_today", False)

    @property
    def more(self) -> int:
        """What it earns more than driving on as people do."""
        return self.figures.gain - self.fixed.gain

    @property
    def last_day(self) -> date:
        return self.proposal.first_day + timedelta(days=self.proposal.days - 1)


def shown(proposal: Proposal, now: datetime, zone: str) -> ProposalShown:
    """In constant queries, however many rounds and stops."""
    result = proposal.result
    plan, fixed = from_json(result.get("plan", {})), from_json(result.get("fixed", {}))
    pks = {stop.place for route in plan.routes for stop in route.stops} | {left.place for left in plan.left}
    locations = Location.objects.in_bulk(pks)
    people = get_user_model().objects.in_bulk({route.person for route in plan.routes})
    needs = result.get("needs", {})
    return ProposalShown(
        proposal,
        [_route(route, people, locations, needs, zone) for route in plan.routes],
        [(locations.get(left.place), left) for left in plan.left],
        _figures(plan),
        _figures(fixed),
        result.get("remarks", []),
        proposal.state == State.THINKING and now > _began(proposal) + timedelta(seconds=proposal.seconds) + PATIENCE,
        result.get("varied"),
    )


def _began(proposal: Proposal) -> datetime:
    """When it began to think, or last said that it waits for another plan; before its first word, when it was asked."""
    said = proposal.result.get("began")
    return datetime.fromisoformat(said) if said else proposal.at


def _figures(plan: Plan) -> Figures:
    return Figures(visits(plan), plan.cost, plan.value)


def _route(
    route: Route, people: Mapping[int, Any], locations: Mapping[int, Location], needs: Mapping[str, Any], zone: str
) -> RouteLine:
    stops = [
        StopLine(
            stop,
            locations.get(stop.place),
            moment(route.day, stop.begin, zone),
            needs.get(str(stop.place), {}).get("reasons", []),
        )
        for stop in route.stops
    ]
    leaves, returns = moment(route.day, route.leaves, zone), moment(route.day, route.returns, zone)
    return RouteLine(route, people.get(route.person), leaves, returns, stops)


def proposals() -> Any:
    """The last ones asked for, newest first."""
    return Proposal.objects.select_related("by").defer("result")[:20]
