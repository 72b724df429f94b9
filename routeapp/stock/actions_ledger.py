"""How moves and counts are written: holdings locked, counts settled, average costs kept. Only actions.py calls this.

The order of facts about one prize in one place is (at, counts before moves, source): what was found stands
before what was loaded in the same minute, and never depends on which phone came online first. In a cabinet with a
prizes meter all prizes are settled together, as the meter tells of all of them.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from operator import itemgetter
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from routeapp.kit.locks import lock
from routeapp.kit.prepared import Prepared, insert, update
from routeapp.stock import queries, rules
from routeapp.stock.actions_settling import Cause, Wrong, places_beyond, settling_moves, wrong
from routeapp.stock.models import BEYOND, Holding, Place, PlaceKind, PrizeCost, StockCount, StockMove
from routeapp.stock.queries_settling import lock_metered, window, windows
from routeapp.stock.rules_settling import Outcome

Pair = tuple[int, int]  # place id, prize id
Fact = StockMove | StockCount


def beyond(kind: PlaceKind) -> Place:
    """The one place of a kind that is not ours: suppliers, players, shrinkage."""
    return places_beyond(kind)[kind]


def append(
    moves: Sequence[StockMove], counts: Sequence[StockCount], read: Mapping[int, datetime], cause: Cause
) -> None:
    """Save new moves and counts that have by, at and received_at set, and all that follows from them and from readings
    of prizes meters: `read` says since when there are other ones, by machine id."""
    if not (moves or counts or read):
        return
    _take_turns()
    facts = sorted((*counts, *moves), key=_order)
    about = [(fact, pair) for fact in facts for pair in _pairs(fact)]
    metered = _metered(facts, read)
    holdings = _locked({pair for _, pair in about}, metered)
    alone = [(fact, pair) for fact, pair in about if pair[0] not in metered]
    late = {pair for fact, pair in alone if _is_late(fact, holdings[pair])}
    insert(counts)
    unsettled = [*_wrong_in_order(alone, holdings, late), *_wrong_together(metered, facts, read, holdings, moves)]
    written = [*moves, *settling_moves(unsettled, cause)]
    insert(written)
    _keep(holdings, written, about)
    settled = _settle_again(late, facts, cause)
    _recost([*written, *settled], facts)


def take_back(sources: list[UUID], read: Mapping[int, datetime], cause: Cause) -> None:
    """Reverse the moves and withdraw the counts of `sources`, then settle again what came after them, and after
    readings that were withdrawn: `read` says since when, by machine id."""
    _take_turns()
    plain = StockMove.objects.standing().entered().filter(source__in=sources)
    moves = list(plain.select_related("from_place", "to_place"))
    counts = list(StockCount.objects.live().filter(source__in=sources).select_related("place"))
    facts = sorted((*counts, *moves), key=_order)
    metered = _metered(facts, read)
    pairs = {pair for fact in facts for pair in _pairs(fact)}
    holdings = _locked(pairs, metered)
    withdrawn = StockCount.objects.filter(pk__in=[count.pk for count in counts])
    withdrawn.update(withdrawn_at=cause.received_at, withdrawn_by=cause.by_id)
    back = [_reversed(move, cause) for move in moves]
    written = [*back, *settling_moves(_wrong_together(metered, facts, read, holdings, back), cause)]
    insert(written)
    _keep(holdings, written, [])
    settled = _settle_again({pair for pair in pairs if pair[0] not in metered}, facts, cause)
    _recost([*written, *settled], facts)


def _take_turns() -> None:
    """Until the transaction ends nobody else writes facts about prizes. A delivery and what was held when it came, both
    on their way into the books, would not see each other; and a correction, which takes prizes back and then moves
    others, would wait for a visit that waits for it."""
    lock("prizes")


def _metered(facts: Iterable[Fact], read: Mapping[int, datetime]) -> dict[int, Place]:
    """The cabinets with a prizes meter that these facts and readings are about, locked, by place id."""
    places = {place for fact in facts for place in _places(fact) if place.kind == PlaceKind.CABINET}
    return {place.pk: place for place in lock_metered(list({place.machine_id for place in places} | read.keys()))}


def _wrong_together(
    metered: Mapping[int, Place],
    facts: Iterable[Fact],
    read: Mapping[int, datetime],
    holdings: Mapping[Pair, Holding],
    to_come: Sequence[StockMove],
) -> list[Wrong]:
    """What is not settled right yet in cabinets with a prizes meter, from the first fact or reading about each on."""
    if not metered:
        return []
    since = {place: [read[place.machine_id]] if place.machine_id in read else [] for place in metered.values()}
    for fact in facts:
        for place, _ in _pairs(fact):
            if place in metered:
                since[metered[place]].append(fact.at)
    held = [holding for holding in holdings.values() if holding.place_id in metered]
    seen = windows({place: min(moments) for place, moments in since.items()}, held)
    return [one for each in seen for one in wrong(each, to_come)]


def _settle_again(pairs: set[Pair], facts: Iterable[Fact], cause: Cause) -> list[StockMove]:
    """Settle the counts of these pairs from the first fact about each on; what they bring is written already."""
    if not pairs:
        return []
    holdings, unsettled = _locked(pairs), []
    for pair in sorted(pairs):
        place, since = min(
            ((place, fact.at) for fact in facts for place in _places(fact) if (place.pk, fact.prize_id) == pair),
            key=itemgetter(1),
        )
        unsettled += wrong(window(place, pair[1], since, holdings[pair].pieces))
    settled = settling_moves(unsettled, cause)
    insert(settled)
    _keep(holdings, settled, [])
    return settled


def _order(fact: Fact) -> tuple:
    return fact.at, isinstance(fact, StockMove), str(fact.source or ""), fact.pk or 0


def _pairs(fact: Fact) -> list[Pair]:
    """The (place, prize) pairs of ours that a fact is about; what lies beyond us is not kept."""
    return [(place.pk, fact.prize_id) for place in _places(fact)]


def _places(fact: Fact) -> list[Place]:
    places = [fact.place] if isinstance(fact, StockCount) else [fact.from_place, fact.to_place]
    return [place for place in places if place.kind not in BEYOND]


def _change(move: StockMove, place_id: int) -> int:
    return move.quantity if move.to_place_id == place_id else -move.quantity


def _locked(pairs: set[Pair], whole: Iterable[int] = ()) -> dict[Pair, Holding]:
    """The holdings of these pairs and of `whole` places, locked in a fixed order so that phones do not wait for each
    other."""
    found = _lock_existing(pairs, set(whole))
    if missing := pairs - found.keys():
        new = [Holding(place_id=place, prize_id=prize) for place, prize in sorted(missing)]
        Holding.objects.bulk_create(new, ignore_conflicts=True)
        found |= _lock_existing(missing, set())
    return found


def _holdings(places: Any, prizes: Any, whole: Any) -> QuerySet:
    wanted = Q(place__in=places, prize__in=prizes) | Q(place__in=whole)
    return Holding.objects.select_for_update().filter(wanted).order_by("place_id", "prize_id")


_rows_to_lock = Prepared(_holdings, list, list, list)
NONE = [0]  # an empty list would find nothing at all


def _lock_existing(pairs: set[Pair], whole: set[int]) -> dict[Pair, Holding]:
    places, prizes = {place for place, _ in pairs}, {prize for _, prize in pairs}
    rows = _rows_to_lock(list(places) or NONE, list(prizes) or NONE, list(whole) or NONE)
    found = {(row.place_id, row.prize_id): row for row in rows}
    return {pair: row for pair, row in found.items() if pair in pairs or pair[0] in whole}


def _is_late(fact: Fact, holding: Holding) -> bool:
    """Whether a fact comes before others that counts build on: a move before a count, a count before anything."""
    if isinstance(fact, StockMove):
        return holding.counted is not None and fact.at < holding.counted
    return holding.newest is not None and fact.at <= holding.newest


def _wrong_in_order(
    about: list[tuple[Fact, Pair]], holdings: Mapping[Pair, Holding], late: set[Pair]
) -> Iterator[Wrong]:
    """What counts settle that are the newest fact about their pair: what lies there now is what should be."""
    running = {pair: holding.pieces for pair, holding in holdings.items()}
    for fact, pair in about:
        if isinstance(fact, StockMove):
            running[pair] += _change(fact, pair[0])
        elif pair not in late:
            if missing := running[pair] - fact.quantity:
                won = missing > 0 and fact.place.kind == PlaceKind.CABINET
                outcome = Outcome(fact.prize_id, won, by_count=fact.pk)
                yield Wrong(fact.place, outcome, missing, (fact.at, fact.source))
            running[pair] = fact.quantity


def _reversed(move: StockMove, cause: Cause) -> StockMove:
    return StockMove(
        prize_id=move.prize_id,
        quantity=move.quantity,
        from_place=move.to_place,
        to_place=move.from_place,
        cost_cents=move.cost_cents,
        reverses=move,
        source=move.source,
        at=move.at,
        by_id=cause.by_id,
        received_at=cause.received_at,
    )


def _keep(holdings: dict[Pair, Holding], moves: Iterable[StockMove], about: Iterable[tuple[Fact, Pair]]) -> None:
    """Bring the locked holdings up to date with moves just written."""
    for move in moves:
        for place in (move.from_place_id, move.to_place_id):
            if holding := holdings.get((place, move.prize_id)):  # what lies beyond us is not kept
                holding.pieces += _change(move, place)
                holding.newest = max(move.at, holding.newest or move.at)
    for fact, pair in about:
        if isinstance(fact, StockCount):
            holding = holdings[pair]
            holding.newest = max(fact.at, holding.newest or fact.at)
            holding.counted = max(fact.at, holding.counted or fact.at)
    update(holdings.values(), "pieces", "newest", "counted")


_overtaken = Prepared(
    lambda prizes, since: PrizeCost.objects.filter(prize__in=prizes, since__gt=since).order_by().values_list("prize"),
    list,
    datetime,
)


def _recost(moves: Iterable[StockMove], facts: Iterable[Fact]) -> None:
    """Work the average costs out anew where a delivery was written, or a fact that happened before one."""
    written = [*moves, *facts]
    if not written:
        return
    with_cost = {move.prize_id for move in moves if move.cost_cents is not None}
    late = _overtaken(list({one.prize_id for one in written}), min(one.at for one in written))
    for prize in sorted(with_cost | {prize for (prize,) in late}):
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
