"""What to put into the van: how many of which prize from which store, and what to take where a prize is short."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

Stock = Mapping[int, Mapping[int, int]]  # pieces by place and prize


@dataclass(frozen=True)
class Pick:
    """`pieces` of a prize to fetch from `store`; `short` are nowhere to be had; `instead` is (prize, pieces)."""

    prize: int
    wanted: int
    in_van: int
    pieces: int
    store: int | None
    short: int
    instead: tuple[int, int] | None = None


def picks(
    wanted: Mapping[int, int], van: Mapping[int, int], stores: Stock, alike: Mapping[int, Sequence[int]]
) -> list[Pick]:
    """A pick for each prize wanted, in their order. Each comes from the store that has most of it.

    What is short may be replaced by the first prize of `alike` of which enough lies about beyond what is wanted of it;
    else by the one with most.
    """
    spare = {
        prize: sum(held.get(prize, 0) for held in stores.values()) + van.get(prize, 0) - wanted.get(prize, 0)
        for prize in {prize for each in alike.values() for prize in each}
    }
    made = []
    for prize, pieces in wanted.items():
        store = max(stores, key=lambda place: (stores[place].get(prize, 0), -place), default=None)
        there = max(0, stores[store].get(prize, 0)) if store is not None else 0
        in_van = max(0, van.get(prize, 0))
        fetch = min(max(0, pieces - in_van), there)
        short = max(0, pieces - in_van - fetch)
        instead = _instead(short, alike.get(prize, ()), spare) if short else None
        if instead:
            spare[instead[0]] -= instead[1]
        made.append(Pick(prize, pieces, in_van, fetch, store if fetch else None, short, instead))
    return made


def left(stores: Stock, van: Mapping[int, int], wanted: Mapping[int, int], made: Iterable[Pick]) -> Stock:
    """What lies in the stores once all this was fetched. What is taken instead comes out of the van, as far as it has
    more than is wanted, and then out of the fullest store."""
    rest = {store: dict(held) for store, held in stores.items()}
    for pick in made:
        if pick.store is not None:
            rest[pick.store][pick.prize] -= pick.pieces
        if pick.instead and rest:
            prize, pieces = pick.instead
            fullest = max(rest, key=lambda store: rest[store].get(prize, 0))
            there, spare = rest[fullest].get(prize, 0), max(0, van.get(prize, 0) - wanted.get(prize, 0))
            rest[fullest][prize] = there - min(max(0, there), max(0, pieces - spare))
    return rest


def _instead(short: int, alike: Sequence[int], spare: Mapping[int, int]) -> tuple[int, int] | None:
    enough = next((prize for prize in alike if spare[prize] >= short), None)
    most = max(alike, key=lambda prize: spare[prize], default=None)
    chosen = enough if enough is not None else most
    if chosen is None or spare[chosen] <= 0:
        return None
    return chosen, min(short, spare[chosen])
