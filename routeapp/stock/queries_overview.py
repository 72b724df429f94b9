"""What the stock pages show: prize by place with its worth, what is low, and the moves behind a figure."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple
from uuid import UUID

from django.db.models import BigIntegerField, Case, F, OuterRef, Q, QuerySet, Subquery, Sum, Value, When

from routeapp.kit.money import as_text, half_up, split
from routeapp.stock.models import OURS, Delivery, Holding, Mix, Place, PlaceKind, Prize, PrizeCost, StockMove
from routeapp.stock.queries import carrying_places, mixes_in_use
from routeapp.stock.rules import Pool, cost_of

CABINETS = 0  # stands for all cabinets together where a place id is asked for


@dataclass(frozen=True)
class PrizeLine:
    """One prize: pieces in each column of the overview, what one costs and what all are worth (minor units)."""

    prize: Prize
    cells: tuple[tuple[Place | None, int], ...]  # None is all cabinets together
    unit_cents: int | None  # None while no delivery said what it costs
    worth_cents: int

    @property
    def pieces(self) -> int:
        return sum(pieces for _, pieces in self.cells)

    @property
    def at_hand(self) -> int:
        """What could be loaded: in stores and vans."""
        return sum(pieces for place, pieces in self.cells if place)

    @property
    def is_low(self) -> bool:
        return not self.prize.retired and self.at_hand < self.prize.low_at


class InPlace(NamedTuple):
    """What lies in a place, or in all cabinets together (None); the worths of all places add up to the whole."""

    place: Place | None
    pieces: int
    worth: int


@dataclass(frozen=True)
class Overview:
    lines: tuple[PrizeLine, ...]
    columns: tuple[InPlace, ...]

    @property
    def worth_cents(self) -> int:
        return sum(line.worth_cents for line in self.lines)

    @property
    def pieces(self) -> int:
        return sum(line.pieces for line in self.lines)

    @property
    def low(self) -> list[PrizeLine]:
        return [line for line in self.lines if line.is_low]

    @property
    def without_cost(self) -> list[PrizeLine]:
        return [line for line in self.lines if line.unit_cents is None and line.pieces > 0]


def overview() -> Overview:
    """Every prize that is in use or still lies somewhere, and what it is worth at the moving average."""
    held = _held()
    places: list[Place | None] = [*carrying_places(), None]
    steps = PrizeCost.objects.filter(prize=OuterRef("pk")).order_by("-since")
    prizes = Prize.objects.annotate(
        bought=Subquery(steps.values("quantity")[:1]), cost=Subquery(steps.values("value_cents")[:1])
    )
    lines = [_line(prize, places, held[prize.pk]) for prize in prizes if held[prize.pk] or not prize.retired]
    worths = [_spread(line) for line in lines]
    columns = [
        InPlace(place, sum(line.cells[number][1] for line in lines), sum(worth[number] for worth in worths))
        for number, place in enumerate(places)
    ]
    return Overview(tuple(lines), tuple(columns))


def _held() -> dict[int, dict[int, int]]:
    """Pieces by prize id and column: a store or van by its id, all cabinets under CABINETS."""
    column = Case(
        When(place__kind=PlaceKind.CABINET, then=Value(CABINETS)), default=F("place"), output_field=BigIntegerField()
    )
    rows = Holding.objects.exclude(pieces=0).order_by().values_list("prize", column).annotate(all=Sum("pieces"))
    held: dict[int, dict[int, int]] = defaultdict(dict)
    for prize, place, pieces in rows:
        held[prize][place] = pieces
    return held


def _line(prize: Prize, places: list[Place | None], held: dict[int, int]) -> PrizeLine:
    cells = tuple((place, held.get(place.pk if place else CABINETS, 0)) for place in places)
    pieces = max(0, sum(held.values()))  # what the books have below zero is worth nothing
    pool = Pool(prize.bought or 0, prize.cost or 0)
    unit = half_up(pool.unit_cost()) if pool.quantity else None
    return PrizeLine(prize, cells, unit, cost_of([(pieces, pool)]))


def _spread(line: PrizeLine) -> list[int]:
    """A prize's worth shared out over the columns, so that they add up to the whole to the cent. What a van gave
    beyond what it held lies elsewhere, and is taken off there alone."""
    held = [pieces for _, pieces in line.cells]
    owed = [line.worth_cents * max(0, -pieces) // max(1, line.pieces) for pieces in held]
    parts = split(line.worth_cents + sum(owed), [max(0, pieces) for pieces in held])
    return [part - less for part, less in zip(parts, owed, strict=True)]


def prizes_of(ids: Iterable[int]) -> QuerySet:
    """The prizes to choose from: those in use, and those with these ids."""
    return Prize.objects.filter(Q(retired=False) | Q(pk__in=list(ids)))


def expand(mix: Mix, times: int) -> list[tuple[Prize, int]]:
    """What a mix loaded so many times comes to, prize by prize."""
    return [(line.prize, line.quantity * times) for line in mix.lines.all()]


def mixes() -> QuerySet:
    """Mixes in use by name with their lines, and how many `pieces` each has."""
    return mixes_in_use().annotate(pieces=Sum("lines__quantity")).order_by("name", "pk")


def moves(prize: Prize | None, place: Place | None, kind: str) -> QuerySet:
    """The moves behind a figure, newest first: of one prize, of one place, or of all places of one kind."""
    found = StockMove.objects.select_related("prize", "from_place", "to_place", "by", "settles", "reverses")
    if prize:
        found = found.filter(prize=prize)
    if place:
        found = found.filter(Q(from_place=place) | Q(to_place=place))
    if kind:
        found = found.filter(Q(from_place__kind=kind) | Q(to_place__kind=kind))
    # Without a filter there may be millions: by number they come from an index, in the order they were received.
    return found.order_by("-at", "-pk") if prize or place else found.order_by("-pk")


def why(move: StockMove) -> str:
    """What a move came from, in words."""
    if count := move.settles:
        said = f"by a count of {count.quantity:,}"
        said += ", estimated" if count.estimated else ""
        said += ", withdrawn later" if count.withdrawn_at else ""
        return f"{said}: {count.reason}" if count.reason else said
    if move.metered_id:
        return "by the prizes meter"
    if move.reverses_id:
        return "takes back what was entered wrongly"
    if move.cost_cents is not None:
        return f"{move.reason or 'delivered'} for {as_text(move.cost_cents)}"
    return move.reason or "moved"


def pieces_now(prize: Prize | None, place: Place | None, kind: str) -> int:
    """What the moves of the same filter leave in our own places."""
    held = Holding.objects.filter(place__kind__in=OURS)
    if prize:
        held = held.filter(prize=prize)
    if place:
        held = held.filter(place=place)
    if kind:
        held = held.filter(place__kind=kind)
    return held.aggregate(all=Sum("pieces"))["all"] or 0


def deliveries() -> QuerySet:
    """Deliveries, newest first, with what they brought."""
    bought = StockMove.objects.filter(source=OuterRef("uuid"), reverses=None).order_by().values("source")
    return Delivery.objects.select_related("by", "withdrawn_by").annotate(
        pieces=Subquery(bought.annotate(all=Sum("quantity")).values("all")),
        cost_cents=Subquery(bought.annotate(all=Sum("cost_cents")).values("all")),
    )


def delivered(uuid: UUID) -> list[StockMove]:
    """The lines of a delivery as they were entered."""
    lines = StockMove.objects.entered().filter(source=uuid, reverses=None)
    return list(lines.select_related("prize", "to_place__machine").order_by("pk"))


def differences(uuid: UUID) -> QuerySet:
    """What a count showed: the moves that settled it."""
    return StockMove.objects.filter(settles__source=uuid).select_related("prize", "from_place", "to_place")
