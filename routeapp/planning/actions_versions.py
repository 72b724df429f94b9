"""Writing one version of a round: the inside of the actions that make and change rounds."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any

from locations.sites.models import Location
from routeapp.planning.models_rounds import Proposal, Round, RoundPlan, RoundStop
from routeapp.planning.queries_needs import Need
from routeapp.planning.rules_plan import Route
from routeapp.planning.rules_result import driving, moment


def append(
    one: Round,
    route: Route,
    needs: Mapping[int, Need],
    zone: str,
    *,
    why: str,
    proposal: Proposal | None = None,
    by: Any,
    at: datetime,
    before: Sequence[RoundStop] = (),
    set_out: datetime | None = None,
    driven: int = 0,
    pinned: Collection[int] = (),
    remarks: Sequence[str] = (),
) -> RoundPlan:
    """The next version: stops that are behind (`before`) as they were, then those of the route. Who has set out already
    has `driven` so many minutes."""
    number = (one.plans.values_list("number", flat=True).first() or 0) + 1
    ends = moment(route.day, route.returns, zone)
    starts = min(set_out or moment(route.day, route.leaves, zone), ends, *(stop.arrives_at for stop in before))
    plan = RoundPlan.objects.create(
        round=one,
        number=number,
        by=by,
        at=at,
        why=why,
        proposal=proposal,
        starts_at=starts,
        ends_at=ends,
        metres=route.metres,
        driving_minutes=driven + driving(route),
        cost_cents=route.cost,
        gain_cents=max(0, route.value),
        remarks=[*remarks, *_notes(route)],
    )
    stops = [_copy(stop) for stop in before]
    for stop in route.stops:
        need = needs.get(stop.place, Need())
        stops.append(
            RoundStop(
                location_id=stop.place,
                arrives_at=moment(route.day, stop.begin, zone),
                minutes=stop.departure - stop.begin,
                value_cents=max(0, stop.value),
                reasons=[*need.reasons],
                pinned=stop.place in pinned,
                expected=need.expected_on(route.day),
            )
        )
    for place, stop in enumerate(stops):
        stop.plan, stop.place = plan, place
    RoundStop.objects.bulk_create(stops)
    return plan


def _notes(route: Route) -> list[str]:
    """What is wrong with single stops."""
    wrong = {stop.place: stop.note for stop in route.stops if stop.note}
    return [f"{location}: {wrong[pk]}" for pk, location in Location.objects.in_bulk(wrong).items()] if wrong else []


def _copy(stop: RoundStop) -> RoundStop:
    names = ("location_id", "arrives_at", "minutes", "value_cents", "reasons", "pinned", "expected")
    return RoundStop(**{name: getattr(stop, name) for name in names})
