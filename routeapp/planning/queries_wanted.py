"""How many of which prize each cabinet of a round should get."""

from collections.abc import Sequence

from machines.cabinets.models import Machine
from routeapp.kit.money import split
from routeapp.planning.queries_rounds import RoundShown
from routeapp.stock.models import Mix
from routeapp.stock.queries import fills, inside, mixes_in_use


def wanted_of(shown: RoundShown, machines: Sequence[Machine]) -> dict[int, dict[int, int]]:
    """Pieces by cabinet and prize: what fits in beside what is probably left, shared out by its mix."""
    ids = [one.pk for one in machines]
    expected = {int(pk): each for stop in shown.stops for pk, each in stop.stop.expected.items()}
    held, contents, mixes = fills(ids), inside(ids), list(mixes_in_use())
    found = {}
    for one in machines:
        left = expected.get(one.pk, {}).get("prizes", held.get(one.pk, 0))
        room = max(0, (one.model.prize_capacity or 0) - max(0, left))
        shares = _shares({prize.pk: pieces for prize, pieces in contents[one.pk] if pieces > 0}, mixes)
        if room and shares:
            found[one.pk] = dict(zip(shares, split(room, list(shares.values())), strict=True))
    return found


def _shares(there: dict[int, int], mixes: list[Mix]) -> dict[int, int]:
    """The recipe of the mix in use that has most of what is inside; else what is inside."""
    recipes = [{line.prize_id: line.quantity for line in mix.lines.all()} for mix in mixes]
    best = max(recipes, key=lambda recipe: len(recipe.keys() & there.keys()) / max(1, len(recipe)), default={})
    return best if best.keys() & there.keys() or not there else there
