"""Ways between stops: our own measurements over estimates, and a road server where one is configured.

The server speaks the table service of OSRM (`/table/v1/driving/lon,lat;…?annotations=duration,distance`). Without an
address in the settings nothing is ever asked; one that fails is done without, and that is said.
"""

import json
from collections.abc import Hashable, Mapping, Sequence
from typing import Any
from urllib.request import Request, urlopen

from django.conf import settings

from routeapp.planning.rules_plan import Leg, Travel
from routeapp.planning.rules_travel import Named, matrices

SECONDS = 4  # a plan waits no longer for the roads
MOST_POINTS = 100  # servers take about this many at once, as they are set up usually
NO_SERVER = "The road server did not answer as it should, so ways are estimated from straight lines."
TOO_MANY = f"More than {MOST_POINTS} places: the road server is not asked, and ways are estimated from straight lines."

Measured = Mapping[tuple[int, int], int]


def travel(points: Sequence[Named], measured: Measured) -> tuple[Travel, str]:
    """What the solver is told of the ways, and what to say about it, if anything."""
    road, said = _asked([one for one in points if one[0] is not None])
    return Travel(legs={**road, **own_legs(points, road, measured)}), said


def own_legs(
    points: Sequence[Named], road: Mapping[Any, Leg], measured: Measured
) -> dict[tuple[Hashable, Hashable], Leg]:
    """Our own times; the metres as the server or the estimate has them."""
    metres, _ = matrices(points, Travel())
    rows = {key: row for row, (_, _, key) in enumerate(points)}
    return {
        (start, end): Leg(
            road[start, end].metres if (start, end) in road else int(metres[rows[start], rows[end]]), took
        )
        for (start, end), took in measured.items()
        if start in rows and end in rows
    }


def _asked(points: Sequence[Named]) -> tuple[dict[tuple[Hashable, Hashable], Leg], str]:
    if not settings.ROAD_SERVER or len(points) < 2:
        return {}, ""
    if len(points) > MOST_POINTS:
        return {}, TOO_MANY
    try:
        return _read(_fetch(points), points), ""
    except (OSError, ValueError, KeyError, TypeError, IndexError):
        return {}, NO_SERVER


def _fetch(points: Sequence[Named]) -> Any:
    where = ";".join(f"{lon},{lat}" for lat, lon, _ in points)
    address = f"{settings.ROAD_SERVER}/table/v1/driving/{where}?annotations=duration,distance"
    if not address.startswith(("http://", "https://")):
        raise ValueError
    with urlopen(Request(address, headers={"Accept": "application/json"}), timeout=SECONDS) as answer:  # noqa: S310
        return json.load(answer)


def _read(told: Any, points: Sequence[Named]) -> dict[tuple[Hashable, Hashable], Leg]:
    """The legs of a table. What it says nothing about (null) is left to the estimate."""
    if told["code"] != "Ok":
        raise ValueError
    found = {}
    for row, (_, _, start) in enumerate(points):
        for column, (_, _, end) in enumerate(points):
            seconds, metres = told["durations"][row][column], told["distances"][row][column]
            if row != column and seconds is not None and metres is not None:
                found[start, end] = Leg(round(float(metres)), round(float(seconds)))
    return found
