"""What a play leaves, and how much of the take lands in the box."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np
from django.db.models import Sum

from locations.agreements.queries import deals_for
from locations.agreements.rules_terms import Deal
from routeapp.cash.models import CashMove, Purse
from routeapp.kit import clock
from routeapp.planning.queries_intervals import History
from routeapp.planning.rules_ahead import Shares
from routeapp.planning.rules_rate import Array
from routeapp.stock import queries as stock

CARDS_BY = timedelta(weeks=13)


def margins_of(found: Sequence[History], share: Shares, now: datetime) -> Array:
    """Cents that a play leaves, before taxes."""
    costs = _prize_costs([one.placement.machine_id for one in found], now)
    deals = deals_for({one.placement.location_id for one in found})
    margins = []
    for row, one in enumerate(found):
        day = clock.local_day(now, one.placement.location.time_zone)
        rate = _host_rate(deals.get(one.placement.location_id, []), one.placement.machine_id, day)
        price = one.placement.machine.price_cents * (1 - rate / 10_000)
        margins.append(price - share.part[row] * costs.get(one.placement.machine_id, costs[0]))
    return np.array(margins, float)


def _host_rate(deals: Sequence[Deal], machine: int, day: date) -> int:
    """The host's share of the first cent, in hundredths of a percent, by the cabinet's own terms before the place's."""
    holding = {deal.machine: deal for deal in deals if deal.holds_on(day)}
    deal = holding.get(machine) or holding.get(None)
    shares = [(term.above_cents, term.rate_bp) for term in deal.terms if term.kind == "share"] if deal else []
    return min(shares, default=(0, 0))[1]


def _prize_costs(ids: Sequence[int], now: datetime) -> dict[int, float]:
    """What a prize costs on average in each cabinet, and under 0 in all of them."""
    units = {prize: float(pool.unit_cost()) for prize, pool in stock.unit_costs(now).items() if pool.quantity}
    found = {}
    for machine, lines in stock.inside(ids).items():
        costs = [(units[prize.pk], pieces) for prize, pieces in lines if prize.pk in units and pieces > 0]
        if costs:
            found[machine] = sum(cost * pieces for cost, pieces in costs) / sum(pieces for _, pieces in costs)
    return found | {0: sum(found.values()) / len(found) if found else 0.0}


def box_shares(ids: Sequence[int], now: datetime) -> Array:
    """The part of each cabinet's take that lands in its box and not on a card."""
    # By the day, which stands beside the cabinet in an index: `at` would read all years.
    moves = CashMove.objects.filter(machine__in=ids, day__gte=(now - CARDS_BY).date(), from_purse=Purse.PLAYERS)
    found: dict[int, dict[str, int]] = defaultdict(dict)
    for machine, purse, cents in moves.order_by().values_list("machine", "to_purse").annotate(all=Sum("cents")):
        found[machine][purse] = cents
    return np.array([_part(found[pk].get(Purse.BOX, 0), sum(found[pk].values())) for pk in ids], float)


def _part(box: int, all_cents: int) -> float:
    return box / all_cents if all_cents > 0 else 1.0
