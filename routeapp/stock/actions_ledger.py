"""How moves and counts are written: holdings locked, counts settled, average costs kept. Only actions.py calls this.

The order of facts about one prize in one place is (at, counts before moves, source): what was found stands
before what was loaded in the same minute, and never depends on which phone came online first.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import F, Sum

from routeapp.kit.prepared import Prepared, insert, row, update
from routeapp.stock import queries, rules
from routeapp.stock.models import BEYOND, Holding, Place, PlaceKind, PrizeCost, StockCount, StockMove
from routeapp.stock.rules import Step

Pair = tuple[int, int]  # place id, prize id
Fact = StockMove | StockCount


def beyond(kind: PlaceKind) -> Place:
    """The one place of a kind that is not ours: suppliers, players, shrinkage."""
    return _beyond(kind)[kind]


def _beyond(*kinds: PlaceKind) -> dict[PlaceKind, Place]:
    found = {PlaceKind(place.kind): place for place in _of_kinds([kind.value for kind in kinds])}
    for kind in kinds:
        found[kind] = found.get(kind) or Place.objects.get_or_create(kind=kind, defaults={"name": kind.label})[0]
    return found


_of_kinds = Prepared(lambda kinds: Place.objects.filter(kind__in=kinds).order_by(), list[str])


def append(moves: Sequence[StockMove], counts: Sequence[StockCount]) -> None:
    """Save new moves and counts that have by, at and received_at set, and all that follows from them."""
    facts = sorted((*counts, *moves), key=_order)
    if not facts:
        return
    about = [(fact, pair) for fact in facts for pair in _pairs(fact)]
    holdings = _locked({pair for _, pair in about})
    late = {pair for fact, pair in about if _is_late(fact, holdings[pair])}
    insert(counts)
    written = [*moves, *_settled_in_order(about, holdings, late)]
    insert(written)
    _keep(holdings, written, about)
    for pair in sorted(late):
        _resettle(pair, min(fact.at for fact in facts if pair in _pairs(fact)), facts[0])
    _recost(written, {fact.prize_id for fact in facts}, facts[0].at)


def take_back(sources: list[UUID], by: Any, at: datetime) -> None:
    """Reverse the moves and withdraw the counts of `sources`, then settle again what came after them."""
    plain = StockMove.objects.filter(source__in=sources, settles=None, reverses=None, reversed_by=None)
    moves = list(plain.select_related("from_place", "to_place"))
    counts = list(StockCount.objects.live().filter(source__in=sources).select_related("place"))
    facts = sorted((*counts, *moves), key=_order)
    if not facts:
        return
    holdings = _locked({pair for fact in facts for pair in _pairs(fact)})
    back = [_reversed(move, by, at) for move in moves]
    insert(back)
    StockCount.objects.filter(pk__in=[count.pk for count in counts]).update(withdrawn_at=at, withdrawn_by=by)
    _keep(holdings, back, [])
    for fact in facts:
        fact.by_id, fact.received_at = by.pk, at
    for pair in sorted(holdings):
        _resettle(pair, min(fact.at for fact in facts if pair in _pairs(fact)), facts[0])
    _recost(back, {fact.prize_id for fact in facts}, facts[0].at)


def _order(fact: Fact) -> tuple:
    return fact.at, isinstance(fact, StockMove), str(fact.source or ""), fact.pk or 0


def _pairs(fact: Fact) -> list[Pair]:
    """The (place, prize) pairs of ours that a fact is about; what lies beyond us is not kept."""
    places = [fact.place] if isinstance(fact, StockCount) else [fact.from_place, fact.to_place]
    return [(place.pk, fact.prize_id) for place in places if place.kind not in BEYOND]


def _change(move: StockMove, place_id: int) -> int:
    return move.quantity if move.to_place_id == place_id else -move.quantity


def _locked(pairs: set[Pair]) -> dict[Pair, Holding]:
    """The holdings of these pairs, locked in a fixed order so that two phones cannot wait for each other."""
    found = _lock_existing(pairs)
    if missing := pairs - found.keys():
        new = [Holding(place_id=place, prize_id=prize) for place, prize in sorted(missing)]
        Holding.objects.bulk_create(new, ignore_conflicts=True)
        found |= _lock_existing(missing)
    return found


_rows_to_lock = Prepared(
    lambda places, prizes: (
        Holding.objects.select_for_update().filter(place__in=places, prize__in=prizes).order_by("place_id", "prize_id")
    ),
    list,
    list,
)


def _lock_existing(pairs: set[Pair]) -> dict[Pair, Holding]:
    rows = _rows_to_lock(list({place for place, _ in pairs}), list({prize for _, prize in pairs}))
    found = {(row.place_id, row.prize_id): row for row in rows}
    return {pair: row for pair, row in found.items() if pair in pairs}


def _is_late(fact: Fact, holding: Holding) -> bool:
    """Whether a fact comes before others that counts build on: a move before a count, a count before anything."""
    if isinstance(fact, StockMove):
        return holding.counted is not None and fact.at < holding.counted
    return holding.newest is not None and fact.at <= holding.newest


def _settled_in_order(
    about: list[tuple[Fact, Pair]], holdings: dict[Pair, Holding], late: set[Pair]
) -> list[StockMove]:
    """Settling moves for counts that are the newest fact about their pair: what lies there now is what should be."""
    running = {pair: holding.pieces for pair, holding in holdings.items()}
    wrong = []
    for fact, pair in about:
        if isinstance(fact, StockMove):
            running[pair] += _change(fact, pair[0])
        elif pair not in late:
            if running[pair] != fact.quantity:
                wrong.append((fact, 0, running[pair] - fact.quantity))
            running[pair] = fact.quantity
    return _settling_moves(wrong, about[0][0])


def _settling_moves(wrong: list[tuple[StockCount, int, int]], cause: Fact) -> list[StockMove]:
    """Moves that bring each count from the pieces it took out so far to those it must take out.

    What is missing from a cabinet was won by players; elsewhere it is shrinkage, and so is what was found too many:
    players put nothing in. `cause` is the fact that brings the moves; it gives them their person and moment.
    """
    places = _beyond(PlaceKind.PLAYERS, PlaceKind.SHRINKAGE) if wrong else {}
    return [
        _settling_move(count, pieces, places[kind], cause)
        for count, old, new in wrong
        for kind, pieces in _by_kind(count, old, new)
        if pieces
    ]


def _by_kind(count: StockCount, old: int, new: int) -> list[tuple[PlaceKind, int]]:
    if count.place.kind != PlaceKind.CABINET:
        return [(PlaceKind.SHRINKAGE, new - old)]
    won, found = max(new, 0) - max(old, 0), min(new, 0) - min(old, 0)
    return [(PlaceKind.PLAYERS, won), (PlaceKind.SHRINKAGE, found)]


def _settling_move(count: StockCount, missing: int, other: Place, cause: Fact) -> StockMove:
    ends = (count.place, other) if missing > 0 else (other, count.place)
    return row(
        StockMove,
        prize_id=count.prize_id,
        quantity=abs(missing),
        from_place=ends[0],
        to_place=ends[1],
        settles=count,
        source=count.source,
        at=count.at,
        by_id=cause.by_id,
        received_at=cause.received_at,
    )


def _reversed(move: StockMove, by: Any, at: datetime) -> StockMove:
    return StockMove(
        prize_id=move.prize_id,
        quantity=move.quantity,
        from_place=move.to_place,
        to_place=move.from_place,
        cost_cents=move.cost_cents,
        reverses=move,
        source=move.source,
        at=move.at,
        by_id=by.pk,
        received_at=at,
    )


def _keep(holdings: dict[Pair, Holding], moves: Iterable[StockMove], about: Iterable[tuple[Fact, Pair]]) -> None:
    """Bring the locked holdings up to date with moves just written."""
    for move in moves:
        for place in (move.from_place_id, move.to_place_id):
            if holding := holdings.get((place, move.prize_id)):  # what lies beyond us is not kept
                holding.pieces += _change(move, place)
    for fact, pair in about:
        holding = holdings[pair]
        holding.newest = max(fact.at, holding.newest or fact.at)
        if isinstance(fact, StockCount):
            holding.counted = max(fact.at, holding.counted or fact.at)
    update(holdings.values(), "pieces", "newest", "counted")


def _resettle(pair: Pair, since: datetime, cause: Fact) -> None:
    """Settle every count of one pair from `since` on again. `cause` gives the new moves their person and time."""
    place, prize = pair
    counts = StockCount.objects.filter(place=place, prize=prize).select_related("place")
    newest_first = ("-at", F("source").desc(nulls_last=True), "-pk")  # the order of _order, backwards
    anchor = counts.live().filter(at__lt=since).order_by(*newest_first).first()
    plain = StockMove.objects.filter(prize=prize, settles=None)
    into, out = plain.filter(to_place=place), plain.filter(from_place=place)
    start = anchor.quantity if anchor else 0
    before = {"at__lt": since, **({"at__gte": anchor.at} if anchor else {})}
    start += (into.filter(**before).aggregate(all=Sum("quantity"))["all"] or 0) - (
        out.filter(**before).aggregate(all=Sum("quantity"))["all"] or 0
    )
    later = {count.pk: count for count in counts.filter(at__gte=since)}
    wrong = _wrong(start, later, [*into.filter(at__gte=since), *out.filter(at__gte=since)], place)
    settling = _settling_moves([(later[count], old, new) for count, old, new in wrong], cause)
    insert(settling)
    _keep(_locked({pair}), settling, [])


def _wrong(start: int, counts: dict[int, StockCount], moves: list[StockMove], place: int) -> list[tuple[int, int, int]]:
    """Counts whose settling moves are not right yet, as rules.settle gives them."""
    settled: dict[int, int] = defaultdict(int)
    for move in StockMove.objects.filter(settles__in=counts):
        settled[move.settles_id] -= _change(move, place)
    live = [count for count in counts.values() if count.withdrawn_at is None]
    steps = [
        Step(change=_change(fact, place))
        if isinstance(fact, StockMove)
        else Step(count=fact.pk, found=fact.quantity, settled=settled[fact.pk])
        for fact in sorted((*live, *moves), key=_order)
    ]
    withdrawn = [(pk, settled[pk], 0) for pk, count in counts.items() if count.withdrawn_at and settled[pk]]
    return withdrawn + rules.settle(start, steps)


_overtaken = Prepared(
    lambda prizes, since: PrizeCost.objects.filter(prize__in=prizes, since__gt=since).order_by().values_list("prize"),
    list,
    datetime,
)


def _recost(moves: Iterable[StockMove], prize_ids: set[int], since: datetime) -> None:
    """Work the average costs out anew where a delivery was written, or a fact that happened before one."""
    with_cost = {move.prize_id for move in moves if move.cost_cents is not None}
    for prize in sorted(with_cost | {prize for (prize,) in _overtaken(list(prize_ids), since)}):
        rebuild_costs(prize)


def rebuild_costs(prize_id: int) -> None:
    """Derive the moving average of one prize from its deliveries and what was held when each of them came."""
    deliveries: dict[datetime, list[int]] = defaultdict(lambda: [0, 0])
    bought = StockMove.objects.filter(prize=prize_id, cost_cents__isnull=False).select_related("from_place")
    for move in bought.order_by("at"):
        sign = 1 if move.from_place.kind == PlaceKind.SUPPLIER else -1
        deliveries[move.at][0] += sign * move.quantity
        deliveries[move.at][1] += sign * (move.cost_cents or 0)
    pool, steps = rules.Pool(), []
    for since, (quantity, cost) in deliveries.items():
        if quantity > 0:
            pool = rules.after_delivery(pool, queries.pieces_held(prize_id, since), quantity, cost)
            steps.append(
                PrizeCost(prize_id=prize_id, since=since, quantity=pool.quantity, value_cents=pool.value_cents)
            )
    PrizeCost.objects.filter(prize=prize_id).delete()
    insert(steps)
