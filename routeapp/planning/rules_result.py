"""A plan as it is kept while people look at it, and what can be read off one route."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from routeapp.planning.rules_plan import Left, Plan, Route, Stop


def as_json(plan: Plan) -> dict[str, Any]:
    routes = [{**asdict(route), "day": route.day.isoformat()} for route in plan.routes]
    return {"routes": routes, "left": [asdict(left) for left in plan.left]}


def from_json(kept: Mapping[str, Any]) -> Plan:
    routes = [
        Route(
            **{
                **route,
                "day": date.fromisoformat(route["day"]),
                "stops": tuple(Stop(**stop) for stop in route["stops"]),
            }
        )
        for route in kept.get("routes", ())
    ]
    return Plan(tuple(routes), tuple(Left(**left) for left in kept.get("left", ())))


def driving(route: Route) -> int:
    """Minutes at the wheel: what is neither work at a stop nor waiting at a door."""
    at_stops = sum(stop.departure - stop.arrival for stop in route.stops)
    return max(0, route.returns - route.leaves - at_stops)


def too_long(route: Route, most: int | None, driven: int = 0) -> str:
    """What to say of more minutes at the wheel than a person is to drive on a day, with those `driven` already; empty
    where there is nothing."""
    minutes = driven + driving(route)
    if most is None or minutes <= most:
        return ""
    return f"{minutes} minutes at the wheel: {minutes - most} more than the {most} written down for a day."


def moment(day: date, minutes: int, zone: str) -> datetime:
    """Minutes since midnight by the clock of `zone`, as a moment. Past midnight is the next day."""
    local = datetime.combine(day, time()) + timedelta(minutes=minutes)
    return local.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def visits(plan: Plan) -> int:
    return sum(len(route.stops) for route in plan.routes)
