"""What settling places anew from a moment on asks for: what lay there, and the facts since."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from machines.cabinets.models import Counts, Meter
from machines.cabinets.queries_meters import PrizesRead, prizes_around
from machines.cabinets.rules import Explanation, intervals
from routeapp.kit.prepared import Prepared
from routeapp.stock.models import Holding, Place, PlaceKind, StockCount, StockMove
from routeapp.stock.rules_settling import Counted, Fact, Moved, Outcome, Settled, Told

Cause = tuple[int | None, int | None]  # the count or the reading that something is settled by
Origin = tuple[datetime, UUID | None]  # its moment and its document


@dataclass
class Window:
    """A place from somewhat before `since` on: what lay there, the facts, and what moves since then settle already."""

    place: Place
    since: datetime
    start: dict[int, int]
    facts: list[Fact] = field(default_factory=list)
    settled: dict[Outcome, int] = field(default_factory=lambda: defaultdict(int))
    origins: dict[Cause, Origin] = field(default_factory=dict)

    def needs_moves(self, newest: datetime | None) -> bool:
        """Whether moves so far, of which the `newest` was then, make a difference to what is settled from `since` on.

        They make none where all of them came before, the last reading after them or with them, and what is counted
        now was counted at that reading: that is how nearly every visit is.
        """
        told_since = [fact.since for fact in self.facts if isinstance(fact, Told) and fact.at >= self.since]
        last = min([self.since, *told_since])
        if newest and (newest >= self.since or newest > last):
            return True
        counts = [fact for fact in self.facts if isinstance(fact, Counted)]
        measured = {count.prize for count in counts if count.at == last < self.since}
        return any(count.at >= self.since and count.prize not in measured for count in counts)


def _with_prizes_meter(machines: Any) -> QuerySet:
    meters = Meter.objects.filter(machine=OuterRef("machine"), counts=Counts.PRIZES_OUT)
    return Place.objects.select_for_update(no_key=True).filter(Exists(meters), machine__in=machines).order_by("pk")


# The places of cabinets that have or had a prizes meter, locked until the end of the transaction: all that lies in one
# is settled together, so two phones must not do it at once.
lock_metered = Prepared(_with_prizes_meter, list)


def window(place: Place, prize: int, since: datetime, held: int) -> Window:
    """What settling one prize anew asks for, where no meter tells how many were won."""
    seen = Window(place, since, {prize: held})
    _add_counts({place.pk: seen}, _counts([place.pk], [prize], since))
    _add_moves({place.pk: seen}, [prize], since)
    return seen


def windows(places: Mapping[Place, datetime], holdings: Iterable[Holding]) -> list[Window]:
    """What settling cabinets anew asks for whose prizes meters tell how many were won. They begin further back: at what
    the readings and counts since then are measured by. `holdings` are all of these places."""
    held: dict[int, list[Holding]] = defaultdict(list)
    for holding in holdings:
        held[holding.place_id].append(holding)
    seen = {
        place.pk: Window(place, since, {one.prize_id: one.pieces for one in held[place.pk]})
        for place, since in places.items()
    }
    read = _readings(places, min(places.values()))
    for one in seen.values():
        one.since = _since(read[one.place.machine_id], one.since)
    since = min(one.since for one in seen.values())
    told = {machine: _told(each) for machine, each in read.items()}
    begin = min([since, *(one.since for each in told.values() for one in each if one.at >= since)])
    prizes = list({prize for one in seen.values() for prize in one.start})
    counts = _counts(list(seen), prizes, begin)
    if not _measured(counts, since):
        begin = min([begin, *(at for (at,) in _measured_by(list(seen), since))])
        read, counts = _readings(places, begin), _counts(list(seen), prizes, begin)
        told = {machine: _told(each) for machine, each in read.items()}
    for one in seen.values():
        one.facts += [each for each in told.get(one.place.machine_id, ()) if each.at >= begin]
        for each in read[one.place.machine_id]:
            one.origins[None, each.shown.key] = each.shown.at, each.source
    _add_counts(seen, counts)
    newest = {pk: max((one.newest for one in each if one.newest), default=None) for pk, each in held.items()}
    _add_moves({pk: one for pk, one in seen.items() if one.needs_moves(newest.get(pk))}, prizes, begin)
    return list(seen.values())


def _readings(places: Iterable[Place], since: datetime) -> dict[int | None, list[PrizesRead]]:
    found: dict[int | None, list[PrizesRead]] = defaultdict(list)
    for one in prizes_around([place.machine_id or 0 for place in places], since):
        found[one.machine].append(one)
    return found


def _since(readings: Sequence[PrizesRead], since: datetime) -> datetime:
    """From when on things change when readings do: one may say that the one before was wrong."""
    takes_back = {
        one.meter for one in readings if one.shown.at >= since and one.shown.explained_as == Explanation.LAST_WAS_WRONG
    }
    last = {one.meter: one.shown.at for one in readings if one.shown.at < since and not one.withdrawn}
    return min([since, *(at for meter, at in last.items() if meter in takes_back)])


def _told(readings: Sequence[PrizesRead]) -> list[Told]:
    """What each reading tells, where somebody can tell."""
    by_meter: dict[int, list[PrizesRead]] = defaultdict(list)
    for one in readings:
        if not one.withdrawn:
            by_meter[one.meter].append(one)
    return [
        Told(each.end.at, each.end.key, each.start.at, each.counts)
        for of_one in by_meter.values()
        for each in intervals((one.shown for one in of_one), of_one[0].digits)
        if each.counts is not None
    ]


def _measured(counts: Sequence[tuple], since: datetime) -> bool:
    """Whether each prize that was counted since then was counted before that, too."""
    before = {(place, prize) for place, prize, at, *_ in counts if at < since}
    return all((place, prize) in before for place, prize, *_ in counts)


def _add_counts(seen: Mapping[int, Window], counts: Sequence[tuple]) -> None:
    for place, prize, at, key, source, pieces, estimated in sorted(
        counts, key=lambda row: (str(row[4] or ""), row[1:4])
    ):
        seen[place].facts.append(Counted(at, prize, key, pieces, not estimated))
        seen[place].origins[key, None] = at, source


def _add_moves(seen: Mapping[int, Window], prizes: list[int], begin: datetime) -> None:
    for out, moves in ((1, _moves_out), (-1, _moves_in)):
        for place, *move in moves(list(seen), prizes, begin):
            _add(seen[place], out, *move)


def _add(
    seen: Window,
    out: int,
    at: datetime,
    prize: int,
    quantity: int,
    other: str,
    count: int | None,
    reading: int | None,
    source: UUID | None,
) -> None:
    """What people moved is a fact. What was settled is one only where it stays so; after that it is what may change."""
    pieces = out * quantity
    seen.start[prize] += pieces
    if count is None and reading is None:
        seen.facts.append(Moved(at, prize, -pieces))
        return
    outcome = Outcome(prize, other == PlaceKind.PLAYERS, count, reading)
    if at < seen.since:
        seen.facts.append(Settled(at, outcome, pieces))
    else:
        seen.settled[outcome] += pieces
        seen.origins[count, reading] = at, source


def _read_counts(places: Any, prizes: Any, begin: Any) -> QuerySet:
    rows = StockCount.objects.live().filter(place__in=places, prize__in=prizes, at__gte=begin)
    return rows.order_by().values_list("place", "prize", "at", "pk", "source", "quantity", "estimated")


def _moves(end: str, other: str) -> Prepared:
    def read(places: Any, prizes: Any, begin: Any) -> QuerySet:
        rows = StockMove.objects.filter(**{f"{end}__in": places}, prize__in=prizes, at__gte=begin).order_by()
        return rows.values_list(end, "at", "prize", "quantity", f"{other}__kind", "settles", "metered", "source")

    return Prepared(read, list, list, datetime)


def _read_measured(places: Any, since: Any) -> QuerySet:
    place = OuterRef("place")
    before = StockCount.objects.live().filter(place=place, prize=OuterRef("prize"), at__lt=since).order_by("-at")
    came = StockMove.objects.filter(to_place=place, prize=OuterRef("prize"), at__lt=since).order_by("at")
    start = Coalesce(Subquery(before.values("at")[:1]), Subquery(came.values("at")[:1]))
    counted = StockCount.objects.live().filter(place__in=places, at__gte=since).order_by()
    return counted.annotate(start=start).filter(start__isnull=False).values_list("start").distinct()


_counts = Prepared(_read_counts, list, list, datetime)
_moves_out, _moves_in = _moves("from_place", "to_place"), _moves("to_place", "from_place")
# When each prize that was counted from a moment on was counted before that, or else came in first.
_measured_by = Prepared(_read_measured, list, datetime)
