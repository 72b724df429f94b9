"""What cabinets of a kind have in common, re-estimated from their own intervals, each kind leaning on all of them."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import minimize
from scipy.special import gammaln

from routeapp.planning.rules_rate import (
    Array,
    Intervals,
    Prior,
    Stretch,
    crude,
    filtered,
    grid_for,
    likelihood,
    seen_rates,
    side_by_side,
)

USUAL = Prior()
LEANS = 0.7  # standard deviation by which the logarithms of a kind's figures differ from those of all; no source
MOST_CABINETS, MOST_INTERVALS = 80, 26  # more would not change the figures, only take their time
STEPS = 24


def gamma_poisson(counts: Array, exposures: Array) -> tuple[float, float]:
    """Shape and rate of the gamma from which the rates behind Poisson counts over unequal exposures come, by the
    largest marginal likelihood (a negative binomial of each count)."""
    counts, exposures = np.asarray(counts, float), np.asarray(exposures, float)

    def loss(logs: Array) -> float:
        shape, rate = np.exp(logs)
        each = gammaln(shape + counts) - gammaln(shape) + shape * np.log(rate / (rate + exposures))
        return -float(np.sum(each - counts * np.log(rate + exposures)))

    mean = max(counts.sum() / exposures.sum(), 1e-9)
    shape, rate = np.exp(_lowest(loss, [0.0, -np.log(mean)], steps=400))
    return float(shape), float(rate)


def fitted(cabinets: Sequence[Sequence[Stretch]], lean_on: Prior | None = None) -> Prior:
    """The prior of some cabinets. Those of one kind take how uneven and how restless plays are from the prior of all,
    which they `lean_on`; how often they are played is their own, where enough intervals speak for it."""
    told = [each[-MOST_INTERVALS:] for each in cabinets if any(one.plays is not None for one in each)]
    intervals = side_by_side(told[:: -(-len(told) // MOST_CABINETS)] if told else [])
    rates = crude(intervals)
    if not rates.any():
        return lean_on or USUAL
    prior = lean_on or replace(USUAL, mean=float(rates[rates > 0].mean()))
    grid = grid_for(prior, seen_rates(intervals))
    prior = _between(intervals, grid, prior)
    return prior if lean_on else _within(intervals, grid, prior)


def _between(intervals: Intervals, grid: Array, prior: Prior) -> Prior:
    """How the rates of cabinets differ from one another: the gamma under which their intervals are likeliest."""
    told = zip(*(each.T for each in intervals[:4]), strict=True)  # that the price changed says nothing by itself
    logs = sum(likelihood(grid, prior.size, *column) for column in told)
    chances = np.exp(logs - np.max(logs, axis=1, keepdims=True))

    def loss(found: Array) -> float:
        shape, mean = np.exp(found)
        each = shape * (np.log(grid) - grid / mean)
        weights = np.exp(each - each.max())
        return -float(np.log(chances @ weights / weights.sum() + 1e-300).sum()) + _far(found, [prior.shape, prior.mean])

    shape, mean = np.exp(_lowest(loss, np.log([prior.shape, prior.mean]), steps=80))
    return replace(prior, shape=float(shape), mean=float(mean))


def _within(intervals: Intervals, grid: Array, prior: Prior) -> Prior:
    """How uneven the plays of one cabinet are, and how fast its rate wanders: what foretells each interval best."""

    def loss(found: Array) -> float:
        size, drift = np.exp(np.clip(found, -7, 7))
        told = filtered(intervals, replace(prior, size=size, drift=drift), grid)
        return -float(told.scores.sum()) + _far(found, [prior.size, prior.drift])

    size, drift = np.exp(np.clip(_lowest(loss, np.log([prior.size, prior.drift]), steps=STEPS), -7, 7))
    return replace(prior, size=float(size), drift=float(drift))


def _far(found: Array, usual: Sequence[float]) -> float:
    return float(np.sum((found - np.log(usual)) ** 2) / (2 * LEANS**2))


def _lowest(loss: Callable[[Array], float], at: Sequence[float] | Array, steps: int) -> Array:
    simplex = np.array([at, *(np.array(at) + 0.6 * np.eye(len(at)))])
    options = {"initial_simplex": simplex, "maxfev": steps, "xatol": 1e-6, "fatol": 1e-8}
    return minimize(loss, at, method="Nelder-Mead", options=options).x
