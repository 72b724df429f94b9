"""When to order prizes again and how many: (r, Q) up to a level, and joint orders that reach free freight.

Demand is given as a mean and a standard deviation a day; what is asked for while an order is on its way and until
the next chance to order is taken as normal. Money in minor units.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri


def economic_quantity(fixed: float, holding: float, demand: float) -> tuple[float, float]:
    """The quantity that balances a `fixed` cost an order against `holding` a piece and time, and its cost a time, for
    `demand` a time (Harris 1913)."""
    return float(np.sqrt(2 * fixed * demand / holding)), float(np.sqrt(2 * fixed * holding * demand))


def order_point(mean: float, sd: float, enough: float) -> float:
    """The stock, with what is on its way, at which to order: it meets what is asked for until a delivery (normal, with
    this mean and standard deviation) with the chance `enough`."""
    return mean + float(ndtri(enough)) * sd


@dataclass(frozen=True)
class Article:
    """One prize as it stands: pieces `at_hand` (stores and vans) and `on_way`, wanted `a_day` with standard deviation
    `sd` a day; what one costs."""

    at_hand: int
    on_way: int
    a_day: float
    sd: float
    unit_cents: float
    margin_cents: float  # lost with each prize that is missing


@dataclass(frozen=True)
class Advice:
    """Order at or below `point`, up to `level`; `quantity` now (0: not yet), `urgent`: it does not last until a
    delivery. `lasts` days at hand, None where nothing is won."""

    point: int
    level: int
    quantity: int
    urgent: bool
    lasts: float | None


@dataclass(frozen=True)
class Delivering:
    """How a supplier delivers: days from order to delivery with their spread, days between chances to order, what an
    order costs, and from what value freight is free (None: never)."""

    days: float
    spread: float
    every: float
    freight_cents: int = 0
    free_from_cents: int | None = None


WORK_CENTS = 500  # to write, unpack and put away one order; common practice, no source
HOLDING_A_YEAR = 0.25  # of what a piece costs: money, shelf, going out of fashion; common practice, no source
LONGEST_DAYS = 120.0  # of demand that are ordered at once
SERVICE = (0.8, 0.995)


def service(article: Article, delivering: Delivering) -> float:
    """With what chance stock should last until the next delivery: a piece missing costs its margin, a piece too many
    the days it lies there."""
    over = max(0.01, article.unit_cents * HOLDING_A_YEAR / 365 * (delivering.every + 1))
    return float(np.clip(article.margin_cents / (article.margin_cents + over), *SERVICE))


def advise(article: Article, delivering: Delivering, fixed_cents: float) -> Advice:
    """Periodic review (s, S): what is asked for until the delivery after the next chance must be there now."""
    days = delivering.days + delivering.every
    sd = np.sqrt(article.sd**2 * days + (article.a_day * delivering.spread) ** 2)
    point = order_point(article.a_day * days, sd, service(article, delivering))
    point = int(np.ceil(point)) if article.a_day > 0 else 0
    holding = max(0.01, article.unit_cents * HOLDING_A_YEAR / 365)
    quantity, _ = economic_quantity(max(1.0, fixed_cents), holding, article.a_day)
    quantity = float(np.clip(quantity, article.a_day * delivering.every, article.a_day * LONGEST_DAYS))
    level, position = point + int(np.ceil(quantity)), article.at_hand + article.on_way
    wanted = level - position if article.a_day > 0 and position <= point else 0
    lasts = article.at_hand / article.a_day if article.a_day > 0 else None
    return Advice(point, level, wanted, wanted > 0 and lasts is not None and lasts < delivering.days, lasts)


def joint(articles: Sequence[Article], delivering: Delivering) -> list[Advice]:
    """All prizes of one supplier: they share an order's fixed cost, and where little is missing to free freight, what
    is wanted next comes along, if holding it is cheaper than the freight."""
    fixed = (delivering.freight_cents + WORK_CENTS) / max(1, sum(one.a_day > 0 for one in articles))
    advice = [advise(one, delivering, fixed) for one in articles]
    if not any(one.quantity for one in advice) or not delivering.free_from_cents:
        return advice
    value = sum(one.quantity * article.unit_cents for one, article in zip(advice, articles, strict=True))
    short = delivering.free_from_cents - value
    if short <= 0:
        return advice
    more = _filled_up(articles, advice, short)
    return more if _holding(articles, advice, more) < delivering.freight_cents else advice


def _filled_up(articles: Sequence[Article], advice: Sequence[Advice], short: float) -> list[Advice]:
    """More of what lasts shortest, so that everything together lasts equally long, until `short` is reached."""
    quantities = [one.quantity for one in advice]
    moving = [row for row, one in enumerate(articles) if one.a_day > 0 and one.unit_cents > 0]
    if not moving:
        return list(advice)

    def lasts(row: int) -> float:
        return (articles[row].at_hand + articles[row].on_way + quantities[row]) / articles[row].a_day

    while short > 0:
        row = min(moving, key=lasts)
        step = max(1, round(articles[row].a_day))
        quantities[row] += step
        short -= step * articles[row].unit_cents
    pairs = zip(advice, quantities, strict=True)
    return [Advice(one.point, one.level, number, one.urgent, one.lasts) for one, number in pairs]


def _holding(articles: Sequence[Article], before: Sequence[Advice], after: Sequence[Advice]) -> float:
    """What holding the pieces that came along costs until they are won."""
    cost = 0.0
    for article, old, new in zip(articles, before, after, strict=True):
        extra = new.quantity - old.quantity
        if extra > 0 and article.a_day > 0:
            waits = (article.at_hand + article.on_way + old.quantity + extra / 2) / article.a_day
            cost += extra * article.unit_cents * HOLDING_A_YEAR / 365 * waits
    return cost
