"""Which prizes to order now, how many, from whom and why."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from django.db.models import F, QuerySet, Sum

from routeapp.planning import rules_order
from routeapp.planning.models_due import PrizeOrder, PrizeOrderLine, SupplierTerms
from routeapp.planning.queries_forecast import Outlook
from routeapp.planning.queries_outlook import outlook
from routeapp.planning.rules_order import Advice, Article, Delivering
from routeapp.stock.models import Delivery, Holding, Place, PlaceKind, Prize, StockMove
from routeapp.stock.queries import carrying_places, unit_costs

WEEKS = 13
NEWEST = 6  # orders that the page lists
ON_WAY_BY = timedelta(days=240)  # an order older than this has come or never will
OLD_DAYS = 180  # on the shelf; common practice, no source
AGED_BY = timedelta(days=730)
SUBSTITUTES = 0.3  # of the margin is lost with a missing prize, as another takes its place; common practice, no source
TRUST = 2  # past deliveries' worth of trust in the days somebody wrote down


@dataclass(frozen=True)
class Line:
    """One prize: what there is, what is asked for, what to order."""

    prize: Prize
    article: Article
    advice: Advice
    terms: SupplierTerms
    lead_days: float
    age_days: int | None  # of what is at hand, on average; None where no delivery tells

    @property
    def a_week(self) -> float:
        return round(self.article.a_day * 7, 1)

    @property
    def cents(self) -> int:
        return round(self.advice.quantity * self.article.unit_cents)

    @property
    def quantity(self) -> int | None:
        return self.advice.quantity or None

    @property
    def is_old(self) -> bool:
        return self.age_days is not None and self.age_days > OLD_DAYS and self.article.at_hand > 0

    @property
    def state(self) -> str:
        if self.advice.urgent:
            return "late"
        if self.advice.quantity:
            return "order"
        return "lies long" if self.is_old else "enough"

    @property
    def why(self) -> str:
        if not self.article.a_day:
            return "No count and no meter of the last weeks tells that one was won."
        lasts = f"{self.article.at_hand:,} at hand last {self.advice.lasts:.0f} days"
        coming = f", {self.article.on_way:,} are on their way" if self.article.on_way else ""
        if self.advice.quantity and self.article.at_hand + self.article.on_way > self.advice.point:
            return f"{lasts}{coming}; it comes along to reach free freight."
        return f"{lasts}{coming}; a delivery takes about {self.lead_days:.0f} days."


@dataclass(frozen=True)
class Group:
    """What to order from one supplier now."""

    supplier: str
    terms: SupplierTerms
    lines: list[Line]

    @property
    def cents(self) -> int:
        return sum(line.cents for line in self.lines)

    @property
    def freight_cents(self) -> int:
        free = self.terms.free_from_cents
        return 0 if free is not None and self.cents >= free else self.terms.freight_cents

    @property
    def pieces(self) -> int:
        return sum(line.advice.quantity for line in self.lines)


def lines(now: datetime) -> list[Line]:
    """Every prize that is still bought, what is most urgent first, in constant queries."""
    prizes = list(Prize.objects.filter(retired=False))
    articles, ages = _articles(prizes, outlook(now), now), _ages(now)
    terms = {one.supplier: one for one in SupplierTerms.objects.all()}
    leads = _lead_times(now)
    groups: dict[str, list[Prize]] = defaultdict(list)
    for prize in prizes:
        groups[prize.supplier].append(prize)
    found = []
    for supplier, each in groups.items():
        said = terms.get(supplier) or SupplierTerms(supplier=supplier)
        delivering = _delivering(said, leads.get(supplier, []))
        advice = rules_order.joint([articles[prize.pk] for prize in each], delivering)
        found += [
            Line(prize, articles[prize.pk], one, said, delivering.days, ages.get(prize.pk))
            for prize, one in zip(each, advice, strict=True)
        ]
    return sorted(found, key=lambda line: (not line.advice.urgent, not line.advice.quantity, line.prize.name.lower()))


def newest_orders() -> QuerySet:
    """The last orders of prizes, each with its lines."""
    return PrizeOrder.objects.live().select_related("by").prefetch_related("lines__prize")[:NEWEST]


def terms_of(supplier: str) -> SupplierTerms:
    """How a supplier delivers, by what was written down or as is usual."""
    return SupplierTerms.objects.filter(supplier=supplier).first() or SupplierTerms(supplier=supplier)


def groups(found: Iterable[Line]) -> list[Group]:
    """What to order now, supplier by supplier, the largest order first."""
    each: dict[str, list[Line]] = defaultdict(list)
    for line in found:
        if line.advice.quantity:
            each[line.prize.supplier].append(line)
    return sorted((Group(name, some[0].terms, some) for name, some in each.items()), key=lambda one: -one.cents)


def _delivering(terms: SupplierTerms, leads: Sequence[float]) -> Delivering:
    """As written down, leaning on how long past orders took."""
    days = (TRUST * terms.lead_days + sum(leads)) / (TRUST + len(leads))
    return Delivering(days, terms.spread_days, terms.every_days, terms.freight_cents, terms.free_from_cents)


def _articles(prizes: Sequence[Prize], seen: Outlook, now: datetime) -> dict[int, Article]:
    ids = [prize.pk for prize in prizes]
    won, costs, coming = _won_by_week(ids, now), unit_costs(now), _on_way(now)
    places = list(carrying_places().values_list("pk", flat=True))
    held = Holding.objects.filter(place__in=places, prize__in=ids).order_by().values_list("prize")
    at_hand = dict(held.annotate(all=Sum("pieces")))
    pace, margin = _pace(seen, sum(sum(each) for each in won.values())), _margin(seen)
    found = {}
    for prize in prizes:
        weeks = won.get(prize.pk, [0] * WEEKS)
        a_day = max(0.0, sum(weeks) / WEEKS / 7 * pace)
        found[prize.pk] = Article(
            at_hand=max(0, at_hand.get(prize.pk, 0)),
            on_way=coming.get(prize.pk, 0),
            a_day=a_day,
            sd=max(float(np.std(weeks)) / np.sqrt(7), np.sqrt(a_day)),
            unit_cents=float(costs[prize.pk].unit_cost()) if prize.pk in costs else 0.0,
            margin_cents=margin,
        )
    return found


def _pace(seen: Outlook, won: int) -> float:
    """How much more will be won a day in the coming weeks than in the last ones: season, new cabinets."""
    if won <= 0 or not len(seen.histories):
        return 1.0
    days = seen.days[:, 28] - seen.days[:, 0]
    ahead = float(np.sum(seen.rates.mean * seen.share.part * days * seen.tracked)) / 28
    return float(np.clip(ahead / (won / WEEKS / 7), 0.5, 2.0))


def _margin(seen: Outlook) -> float:
    """Cents lost with a prize that is missing: the margin of the plays it would have drawn, of the middle cabinet."""
    each = seen.margins / np.maximum(seen.share.part, 1e-3)
    return max(1.0, float(np.median(each)) * SUBSTITUTES) if len(each) else 1.0


def _won_by_week(ids: Sequence[int], now: datetime) -> dict[int, list[int]]:
    """Pieces won by prize id, week by week back from now."""
    players = list(Place.objects.filter(kind=PlaceKind.PLAYERS).values_list("pk", flat=True))
    since = now - timedelta(weeks=WEEKS)
    found: dict[int, list[int]] = defaultdict(lambda: [0] * WEEKS)
    for sign, end in ((1, "to_place__in"), (-1, "from_place__in")):
        moves = StockMove.objects.filter(at__gte=since, at__lt=now, prize__in=ids, **{end: players})
        for prize, at, pieces in moves.order_by().values_list("prize", "at").annotate(all=Sum("quantity")):
            found[prize][min(WEEKS - 1, (now - at).days // 7)] += sign * pieces
    return found


def _delivered(now: datetime, by: timedelta) -> list[tuple[int, datetime, int]]:
    """(prize id, when, pieces) of what suppliers brought; what came inside a cabinet was not ordered."""
    moves = StockMove.objects.standing().filter(from_place__kind=PlaceKind.SUPPLIER, at__gte=now - by, at__lte=now)
    moves = moves.exclude(to_place__kind=PlaceKind.CABINET)
    return list(moves.order_by("at").values_list("prize", "at").annotate(all=Sum("quantity")))


def _on_way(now: datetime) -> dict[int, int]:
    """Pieces ordered and not delivered yet, by prize id: each delivery takes off what was ordered before it."""
    ordered = PrizeOrderLine.objects.filter(order__withdrawn_at=None, order__at__gte=now - ON_WAY_BY)
    steps = [(at, prize, pieces) for prize, at, pieces in ordered.values_list("prize", F("order__at"), "quantity")]
    steps += [(at, prize, -pieces) for prize, at, pieces in _delivered(now, ON_WAY_BY)]
    left: dict[int, int] = defaultdict(int)
    for _, prize, pieces in sorted(steps):
        left[prize] = max(0, left[prize] + pieces)
    return left


def _lead_times(now: datetime) -> dict[str, list[float]]:
    """Days from an order to the next delivery of its supplier, by supplier."""
    orders = PrizeOrderLine.objects.filter(order__withdrawn_at=None, order__at__gte=now - AGED_BY)
    came = defaultdict(list)
    for supplier, at in (
        Delivery.objects.live().filter(at__gte=now - AGED_BY).order_by("at").values_list("supplier", "at")
    ):
        came[supplier].append(at)
    found: dict[str, list[float]] = defaultdict(list)
    for supplier, at in orders.order_by("order__at").values_list("order__supplier", "order__at").distinct():
        if after := next((one for one in came[supplier] if one > at), None):
            found[supplier].append((after - at).total_seconds() / 86_400)
    return found


def _ages(now: datetime) -> dict[int, int]:
    """Days that what is ours of each prize was there on average, if the oldest goes first."""
    held = dict(
        Holding.objects.filter(place__kind__in=(PlaceKind.STORE, PlaceKind.VAN))
        .order_by()
        .values_list("prize")
        .annotate(all=Sum("pieces"))
    )
    left = {prize: max(0, pieces) for prize, pieces in held.items()}
    days: dict[int, float] = defaultdict(float)
    for prize, at, pieces in reversed(_delivered(now, AGED_BY)):
        part = min(left.get(prize, 0), pieces)
        left[prize] = left.get(prize, 0) - part
        days[prize] += part * (now - at).days
    return {prize: round(days[prize] / held[prize]) for prize in days if held.get(prize, 0) > 0 and not left[prize]}
