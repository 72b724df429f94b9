"""What lay in which cabinet when."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime

from django.db.models import QuerySet, Sum

from routeapp.stock.models import Holding, Place, Prize, StockMove
from routeapp.stock.rules_lain import Lain


def lain(machine_ids: Iterable[int], since: datetime, until: datetime) -> dict[int, dict[int, Lain]]:
    """Between two moments, by machine id and prize id, of every prize that lay or moved there: what is there now, less
    what moved since."""
    # Naming places and prizes lets the index (place, prize, at) find these days without reading all others.
    machine_of = dict(Place.objects.filter(machine__in=list(machine_ids)).order_by().values_list("pk", "machine"))
    prizes = list(Prize.objects.order_by().values_list("pk", flat=True))
    rows = StockMove.objects.filter(at__gte=since, prize__in=prizes).order_by()
    held = Holding.objects.filter(place__in=list(machine_of)).exclude(pieces=0)
    pieces: dict[tuple[int, int], int] = defaultdict(int)
    for place, prize, many in held.values_list("place", "prize", "pieces"):
        pieces[place, prize] += many
    for place, prize, many in _signed(rows, list(machine_of)):
        pieces[place, prize] -= many
    steps: dict[tuple[int, int], dict[datetime, int]] = defaultdict(lambda: defaultdict(int))
    for place, prize, many, at in _signed(rows.filter(at__lt=until), list(machine_of), "at"):
        steps[place, prize][at] += many
    found: dict[int, dict[int, Lain]] = defaultdict(dict)
    for key in {key for key, many in pieces.items() if many} | steps.keys():
        found[machine_of[key[0]]][key[1]] = _added_up(pieces[key], steps[key])
    return found


def _signed(rows: QuerySet, places: list[int], *keys: str) -> Iterator[tuple]:
    """(place id, prize id, pieces that came in less those that went out, keys)."""
    for sign, end in ((1, "to_place"), (-1, "from_place")):
        moved = rows.filter(**{f"{end}__in": places}).values_list(end, "prize", *keys)
        for place, prize, *rest, many in moved.annotate(all=Sum("quantity")):
            yield place, prize, sign * many, *rest


def _added_up(first: int, changes: dict[datetime, int]) -> Lain:
    steps, there = [], first
    for at, change in sorted(changes.items()):
        there += change
        steps.append((at, there))
    return Lain(first, steps)
