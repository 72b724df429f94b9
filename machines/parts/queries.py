"""Reads of parts, where they lie, and of keys and who holds them."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, IntegerField, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from machines.cabinets.models import CabinetModel
from machines.faults.models import Fault
from machines.parts.models import Held, Key, KeyMove, Lock, Part, PartMove, PartPlace, PartPlaceKind

SHELF = PartPlaceKind.SHELF


def shelves() -> QuerySet:
    return PartPlace.objects.filter(kind=SHELF)


def parts() -> QuerySet:
    """Each with `on_hand`: how many lie on our shelves."""
    came = _sum_of(PartMove.objects.live().filter(to_place__kind=SHELF))
    went = _sum_of(PartMove.objects.live().filter(from_place__kind=SHELF))
    return Part.objects.annotate(on_hand=came - went).prefetch_related("fits")


def _sum_of(moves: QuerySet) -> Coalesce:
    of_part = moves.filter(part=OuterRef("pk")).order_by().values("part").annotate(all=Sum("pieces")).values("all")
    return Coalesce(Subquery(of_part, output_field=IntegerField()), Value(0))


def lies(part: Part) -> dict[PartPlace, int]:
    """How many lie on each shelf, by the moves."""
    found: dict[int, int] = defaultdict(int)
    for place, pieces in PartMove.objects.live().filter(part=part).values_list("to_place").annotate(Sum("pieces")):
        found[place] += pieces
    for place, pieces in PartMove.objects.live().filter(part=part).values_list("from_place").annotate(Sum("pieces")):
        found[place] -= pieces
    return {place: found[place.pk] for place in shelves()}


def fitting(model: CabinetModel) -> QuerySet:
    """Spares that fit a model, those we have first."""
    return parts().filter(Q(fits=model) | Q(fits=None)).distinct().order_by("-on_hand", "name")


def moves_of(part: Part) -> QuerySet:
    moves = PartMove.objects.live().filter(part=part)
    return moves.select_related("from_place", "to_place", "by", "machine", "fault__machine")


def used_on(fault: Fault) -> QuerySet:
    """Parts used on a fault; a corrected report keeps its uuid, and with it what was used."""
    return PartMove.objects.live().filter(fault__uuid=fault.uuid).select_related("part", "from_place", "by")


def locks() -> QuerySet:
    """Each with `copies` we could reach for, and how many are `lost` or `ordered`."""
    newest = _newest().values("held")[:1]
    keys = Key.objects.annotate(now=Subquery(newest)).filter(lock=OuterRef("pk"), now__isnull=False).order_by()
    return Lock.objects.prefetch_related("machines").annotate(
        copies=_count(keys.exclude(now__in=[Held.LOST, Held.ORDERED])),
        lost=_count(keys.filter(now=Held.LOST)),
        ordered=_count(keys.filter(now=Held.ORDERED)),
    )


def _newest() -> QuerySet:
    return KeyMove.objects.live().filter(key=OuterRef("pk")).order_by("-at", "-pk")


def _count(keys: QuerySet) -> Coalesce:
    many = keys.values("lock").annotate(many=Count("pk")).values("many")
    return Coalesce(Subquery(many, output_field=IntegerField()), Value(0))


@dataclass(frozen=True)
class Copy:
    """One copy of a key and where it is."""

    key: Key
    move: KeyMove


def copies_of(locks: Iterable[Lock]) -> dict[int, list[Copy]]:
    """The copies of each lock's key, by lock id, in one query."""
    found: dict[int, list[Copy]] = defaultdict(list)
    newest: dict[int, KeyMove] = {}
    moves = KeyMove.objects.live().filter(key__lock__in=[lock.pk for lock in locks])
    for move in moves.select_related("key__lock", "person", "by").order_by("at", "pk"):
        newest[move.key_id] = move
    for move in sorted(newest.values(), key=lambda move: move.key.tag):
        found[move.key.lock_id].append(Copy(move.key, move))
    return found


def used(since: datetime, until: datetime) -> QuerySet:
    """Pieces put into known cabinets between two moments, with `paid` and `bought`: what came from suppliers until
    then at a known cost. A piece costs the average of it, whichever order things were written down in."""
    came = PartMove.objects.live().filter(part=OuterRef("part"), at__lte=OuterRef("at")).exclude(cost_cents=None)
    came = came.order_by().values("part")
    moves = PartMove.objects.live().filter(to_place__kind=PartPlaceKind.CABINETS, at__gte=since, at__lt=until)
    return moves.exclude(machine=None).annotate(
        paid=Subquery(came.annotate(all=Sum("cost_cents")).values("all")),
        bought=Subquery(came.annotate(all=Sum("pieces")).values("all")),
    )
