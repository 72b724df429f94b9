"""What lies where, and what it is worth."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Case, F, Min, OuterRef, Q, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce
from django.utils.timezone import localtime

from machines.cabinets.models import GONE, Counts, Machine, Status
from machines.cabinets.queries_meters import intervals
from routeapp.kit.prepared import Prepared
from routeapp.stock.models import OURS, Holding, Mix, Place, PlaceKind, Prize, PrizeCost, StockCount, StockMove
from routeapp.stock.rules import Pool, cost_of


def contents(place_ids: Iterable[int]) -> dict[int, dict[int, int]]:
    """Pieces by place id and prize id; only what is not zero."""
    found: dict[int, dict[int, int]] = defaultdict(dict)
    rows = Holding.objects.filter(place__in=place_ids).exclude(pieces=0).values_list("place", "prize", "pieces")
    for place, prize, pieces in rows:
        found[place][prize] = pieces
    return found


def fills(machine_ids: Iterable[int]) -> dict[int, int]:
    """Pieces in each cabinet by machine id."""
    held = Holding.objects.filter(place__machine__in=machine_ids).order_by()
    return dict(held.values_list("place__machine").annotate(all=Sum("pieces")))


def inside(machine_ids: Iterable[int]) -> dict[int, list[tuple[Prize, int]]]:
    """The prizes that should lie in each cabinet by machine id, by name, those with pieces only."""
    found: dict[int, list[tuple[Prize, int]]] = defaultdict(list)
    held = Holding.objects.filter(place__machine__in=machine_ids).exclude(pieces=0)
    for row in held.select_related("prize", "place").order_by("prize__name"):
        found[row.place.machine_id].append((row.prize, row.pieces))
    return found


def not_told(machine_ids: Iterable[int], since: datetime, until: datetime) -> set[int]:
    """The cabinets among these with prizes inside of which, between two moments, neither a count nor a prizes meter
    tells what was won."""
    held = Holding.objects.filter(place__machine__in=machine_ids, pieces__gt=0)
    counts = StockCount.objects.live().filter(place__machine__in=machine_ids, at__gte=since, at__lt=until)
    quiet = set(held.values_list("place__machine", flat=True)) - set(counts.values_list("place__machine", flat=True))
    told = (one for one in intervals(quiet, since, until) if one.interval.counts is not None)
    return quiet - {one.meter.machine_id for one in told if one.meter.counts == Counts.PRIZES_OUT}


def counted_in(sources: Iterable[UUID]) -> set[UUID | None]:
    """Which of these documents counted prizes."""
    return set(StockCount.objects.live().filter(source__in=sources).order_by().values_list("source", flat=True))


def carrying_places() -> QuerySet:
    """The places prizes can be taken from or put into by hand: stores and vans."""
    return Place.objects.filter(kind__in=(PlaceKind.STORE, PlaceKind.VAN)).select_related("person")


def mixes_in_use() -> QuerySet:
    return Mix.objects.filter(retired_at=None).prefetch_related("lines__prize")


def mixes(pks: Iterable[int]) -> QuerySet:
    """Also those that are no longer in use."""
    return Mix.objects.filter(pk__in=pks).prefetch_related("lines__prize")


def prizes_in_use() -> QuerySet:
    return Prize.objects.filter(retired=False)


def unit_costs(at: datetime | None = None) -> dict[int, Pool]:
    """The moving-average pool of each prize by prize id, as of `at` (now when left out)."""
    steps = PrizeCost.objects.filter(prize=OuterRef("pk")).order_by("-since")
    if at is not None:
        steps = steps.filter(since__lte=at)
    rows = Prize.objects.annotate(
        pieces=Subquery(steps.values("quantity")[:1]), worth=Subquery(steps.values("value_cents")[:1])
    ).values_list("pk", "pieces", "worth")
    return {pk: Pool(pieces or 0, worth or 0) for pk, pieces, worth in rows}


@dataclass(frozen=True)
class Won:
    """Prizes that players won, what those cost in minor units, and how many of them a meter alone tells of."""

    pieces: int = 0
    cost: int = 0
    metered: int = 0


def won(moves: QuerySet, *keys: str, to: PlaceKind = PlaceKind.PLAYERS) -> list[tuple[tuple, Won]]:
    """Prizes that players won (or that went `to` another place beyond us) in these `moves`, grouped by `keys`.

    Each piece costs the moving average that stood when it was won; each group is rounded once.
    """
    step = PrizeCost.objects.filter(prize=OuterRef("prize"), since__lte=OuterRef("at")).order_by("-since")
    beyond = list(Place.objects.filter(kind=to).values_list("pk", flat=True))
    signed = Case(When(to_place__in=beyond, then=F("quantity")), default=-F("quantity"))
    rows = (
        moves.filter(Q(to_place__in=beyond) | Q(from_place__in=beyond))
        .annotate(held=Subquery(step.values("quantity")[:1]), worth=Subquery(step.values("value_cents")[:1]))
        .order_by()
        .values_list(*keys, "held", "worth")
        .annotate(pieces=Sum(signed), by_meter=Coalesce(Sum(signed, filter=Q(metered__isnull=False)), 0))
    )
    groups: dict[tuple, list[tuple[int, int, Pool]]] = defaultdict(list)
    for *key, held, worth, pieces, by_meter in rows:
        groups[tuple(key)].append((pieces, by_meter, Pool(held or 0, worth or 0)))
    return [
        (
            key,
            Won(
                sum(pieces for pieces, *_ in parts),
                cost_of([(pieces, pool) for pieces, _, pool in parts]),
                sum(by_meter for _, by_meter, _ in parts),
            ),
        )
        for key, parts in groups.items()
    ]


def won_by_document(
    machines: Iterable[int], since: datetime, until: datetime
) -> dict[tuple[UUID | None, int, datetime], Won]:
    """What was won from cabinets between two moments, by the document that counted, cabinet and moment."""
    rows = won(moved(since, until).filter(cabinet__in=list(machines)), "source", "cabinet", "at")
    return {key: won for key, won in rows if won.pieces or won.cost}


def lost_by_document(since: datetime, until: datetime) -> dict[tuple[UUID | None, int | None, datetime], Won]:
    """What counts found missing (below zero: found again) between two moments, by the document that counted, cabinet
    (None for a store or van) and moment."""
    rows = won(moved(since, until), "source", "cabinet", "at", to=PlaceKind.SHRINKAGE)
    return {key: won for key, won in rows if won.pieces or won.cost}


def moved(since: datetime, until: datetime) -> QuerySet:
    """Moves of prizes between two moments, each with its `cabinet`."""
    # Naming the prizes lets the index (place, prize, at) find these days without reading all others.
    prizes = list(Prize.objects.order_by().values_list("pk", flat=True))
    moves = StockMove.objects.filter(at__gte=since, at__lt=until, prize__in=prizes)
    return moves.annotate(cabinet=Coalesce("from_place__machine", "to_place__machine"))


def pieces_held(prize_id: int, before: datetime) -> int:
    """Pieces of a prize in all places of ours just before a moment."""
    return sum(pieces for (pieces,) in _pieces_held(prize_id, before))  # one row, or none where nothing moved


SIGNED = Case(
    When(Q(to_place__kind__in=OURS) & ~Q(from_place__kind__in=OURS), then=F("quantity")),
    When(Q(from_place__kind__in=OURS) & ~Q(to_place__kind__in=OURS), then=-F("quantity")),
    default=Value(0),
)
_pieces_held = Prepared(
    lambda prize, before: (
        StockMove.objects.filter(prize=prize, at__lt=before)
        .order_by()
        .values("prize")
        .annotate(pieces=Sum(SIGNED))
        .values_list("pieces")
    ),
    int,
    datetime,
)


def pieces_at(moment: datetime) -> dict[int, int]:
    """Pieces of each prize in all places of ours at a moment: what is there now, less what moved since."""
    now = Holding.objects.filter(place__kind__in=OURS).order_by().values_list("prize").annotate(all=Sum("pieces"))
    found = defaultdict(int, now)
    since = StockMove.objects.filter(at__gte=moment).order_by()
    ends = "prize", "from_place__kind", "to_place__kind"
    for prize, source, target, pieces in since.values_list(*ends).annotate(all=Sum("quantity")):
        found[prize] += ((source in OURS) - (target in OURS)) * pieces
    return found


def known_since(place: Place) -> datetime | None:
    """When the books first knew of prizes in a place; None while they know of none."""
    moves = StockMove.objects.entered().standing().filter(Q(from_place=place) | Q(to_place=place))
    firsts = (found.aggregate(first=Min("at"))["first"] for found in (moves, place.counts.live()))
    return min((first for first in firsts if first), default=None)


def why_not_begun(place: Place, at: datetime) -> str:
    """Why what was in a cabinet when it came cannot be written down for a moment, as it would count twice; empty where
    it can."""
    bought = StockMove.objects.standing().filter(to_place=place, from_place__kind=PlaceKind.SUPPLIER)
    if bought.exists():
        return f"What was in {place} from the start is written down already. Withdraw that first."
    known = known_since(place)
    if known is None or known > at:
        return ""
    said = f"By the books there were prizes in {place} from {localtime(known):%-d %B %Y, %H:%M} on."
    return f"{said} Say a moment before that, or count what is inside instead."


def never_filled() -> QuerySet:
    """Cabinets here that the books know of no prize in, by code."""
    ours = Machine.objects.exclude(status__in=(Status.ORDERED, *GONE)).exclude(place__holdings__isnull=False)
    return ours.select_related("model").order_by("code")
