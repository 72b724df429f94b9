"""The planner finds the best known answers of published problems."""

from routeapp.planning.rules_solve import solve
from tests.planning.published import BURMA14_BEST, E_N22_K4_BEST, burma14, e_n22_k4


def test_e_n22_k4_is_solved():
    plan = solve(e_n22_k4(), seconds=60, iterations=600)
    assert (plan.left, sum(route.metres for route in plan.routes)) == ((), E_N22_K4_BEST * 1000)


def test_burma14_is_solved():
    plan = solve(burma14(), seconds=60, iterations=300)
    assert (plan.left, sum(route.metres for route in plan.routes)) == ((), BURMA14_BEST * 1000)
