"""Two published routing problems small enough to be written down, as problems of ours: each edge is a measured leg."""

import math
from itertools import permutations

from routeapp.planning.rules_plan import Leg, Place, Point, Problem, Travel, Worker
from tests.planning.rounds import MONDAY

# E-n22-k4: N. Christofides and S. Eilon, An algorithm for the vehicle-dispatching problem, Operational Research
# Quarterly 20 (1969); best 375 with 4 vehicles of 6000 (CVRPLIB). The first is the depot; x, y, demand.
E_N22_K4 = (
    (145, 215, 0), (151, 264, 1100), (159, 261, 700), (130, 254, 800), (128, 252, 1400), (163, 247, 2100),
    (146, 246, 400), (161, 242, 800), (142, 239, 100), (163, 236, 500), (148, 232, 600), (128, 231, 1200),
    (156, 217, 1300), (129, 214, 1300), (146, 208, 300), (164, 208, 900), (141, 206, 2100), (147, 193, 1000),
    (164, 193, 900), (129, 189, 2500), (155, 185, 1800), (139, 182, 700),
)  # fmt: skip
E_N22_K4_BEST = 375

# burma14: TSPLIB (G. Reinelt, ORSA Journal on Computing 3, 1991); best 3323. Degrees and minutes as degrees.minutes.
BURMA14 = (
    (16.47, 96.10), (16.47, 94.44), (20.09, 92.54), (22.39, 93.37), (25.23, 97.24), (22.00, 96.05), (20.47, 97.02),
    (17.20, 96.29), (16.30, 97.38), (14.05, 98.12), (16.53, 97.38), (21.52, 95.59), (19.41, 97.13), (20.09, 94.55),
)  # fmt: skip
BURMA14_BEST = 3323

ALL_DAY = {MONDAY: ((0, 1440),)}
HERE = Point(0.0, 0.0, 0)


def e_n22_k4() -> Problem:
    """TSPLIB rounds Euclidean edges to the nearest whole number."""
    legs = [[math.floor(math.dist(one[:2], other[:2]) + 0.5) for other in E_N22_K4] for one in E_N22_K4]
    return _problem(legs, [demand for _, _, demand in E_N22_K4], [6000] * 4)


def burma14() -> Problem:
    """TSPLIB's GEO edges, with its own pi and radius."""
    return _problem([[_geo(one, other) for other in BURMA14] for one in BURMA14], [0] * len(BURMA14), [None])


def _geo(one: tuple[float, float], other: tuple[float, float]) -> int:
    if one == other:
        return 0
    (a, b), (c, d) = (tuple(_radians(part) for part in spot) for spot in (one, other))
    q1, q2, q3 = math.cos(b - d), math.cos(a - c), math.cos(a + c)
    return int(6378.388 * math.acos(0.5 * ((1 + q1) * q2 - (1 - q1) * q3)) + 1)


def _radians(degrees_minutes: float) -> float:
    degrees = int(degrees_minutes)
    return 3.141592 * (degrees + 5 * (degrees_minutes - degrees) / 3) / 180


def _problem(legs: list[list[int]], loads: list[int], vans: list[int | None]) -> Problem:
    """Number 0 is the depot; a unit of the published distance is a kilometre that costs one cent."""
    table = {(a, b): Leg(1000 * legs[a][b], 0) for a, b in permutations(range(len(legs)), 2)}
    places = [Place(one, 0.0, 0.0, ALL_DAY, 0, {}, loads[one], MONDAY) for one in range(1, len(legs))]
    workers = [Worker(number, MONDAY, (0, 1440), HERE, HERE, 0, 1, 0, van) for number, van in enumerate(vans)]
    return Problem(tuple(places), tuple(workers), Travel(legs=table))
