"""How far and how long it is between points, as whole matrices.

The straight way is the shortest line on the WGS 84 ellipsoid, worked out at once for all pairs; the road is longer by a
factor, and what was measured overrides both.
"""

from collections.abc import Hashable, Sequence

import numpy as np

from routeapp.planning.rules_plan import Travel

EQUATOR, FLATTENING = 6_378_137.0, 1 / 298.257223563  # WGS 84

Named = tuple[float | None, float | None, Hashable]  # latitude, longitude, key in the table of legs


def straight(lats: np.ndarray, lons: np.ndarray) -> np.ndarray:
    """Metres between all pairs of points along the ellipsoid.

    Lambert's formula on reduced latitudes (W. D. Lambert, 1942): some ten metres over thousands of kilometres, and
    two millimetres per kilometre at the distances of a round.
    """
    reduced = np.arctan((1 - FLATTENING) * np.tan(np.radians(lats)))
    across = np.radians(lons)
    half_sum = (reduced[:, None] + reduced[None, :]) / 2
    half_gap = (reduced[:, None] - reduced[None, :]) / 2
    turn = np.sin((across[:, None] - across[None, :]) / 2)
    chord = np.sin(half_gap) ** 2 + np.cos(reduced)[:, None] * np.cos(reduced)[None, :] * turn**2
    angle = 2 * np.arcsin(np.sqrt(np.clip(chord, 0, 1)))
    with np.errstate(divide="ignore", invalid="ignore"):
        flat = (angle - np.sin(angle)) * (np.sin(half_sum) * np.cos(half_gap)) ** 2 / np.cos(angle / 2) ** 2
        tall = (angle + np.sin(angle)) * (np.cos(half_sum) * np.sin(half_gap)) ** 2 / np.sin(angle / 2) ** 2
    bent = angle - FLATTENING / 2 * (_finite(flat) + _finite(tall))
    return EQUATOR * np.where(angle > 0, bent, 0.0)


def _finite(values: np.ndarray) -> np.ndarray:
    return np.nan_to_num(values, nan=0.0, posinf=0.0)


def matrices(points: Sequence[Named], travel: Travel) -> tuple[np.ndarray, np.ndarray]:
    """Metres and seconds by road between all pairs. A point without coordinates is next to every other."""
    lats = np.array([np.nan if lat is None else lat for lat, _, _ in points], dtype=float)
    lons = np.array([np.nan if lon is None else lon for _, lon, _ in points], dtype=float)
    road = np.nan_to_num(straight(lats, lons)) * travel.circuity
    seconds = road * 3.6 / travel.km_per_hour + 60 * travel.minutes_per_leg * (road > 0)
    metres, whole_seconds = np.rint(road).astype(np.int64), np.rint(seconds).astype(np.int64)
    _override(metres, whole_seconds, points, travel)
    return metres, whole_seconds


def _override(metres: np.ndarray, seconds: np.ndarray, points: Sequence[Named], travel: Travel) -> None:
    rows: dict[Hashable, list[int]] = {}
    for row, (_, _, key) in enumerate(points):
        if key is not None:
            rows.setdefault(key, []).append(row)
    for (start, end), leg in travel.legs.items():
        for one in rows.get(start, ()):
            for other in rows.get(end, ()):
                if one != other:
                    metres[one, other], seconds[one, other] = leg.metres, leg.seconds
