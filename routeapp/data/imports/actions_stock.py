"""Prizes and what lies in the store or in a cabinet, from the rows of a sheet. Only actions_bring.py calls this."""

from collections.abc import Iterable
from typing import Any
from zoneinfo import ZoneInfo

from machines.cabinets.models import Machine
from routeapp.data.imports.actions_run import Run
from routeapp.data.imports.actions_things import empty_columns
from routeapp.data.imports.models import Brought, Noun
from routeapp.data.imports.rules_lines import Line
from routeapp.data.imports.rules_names import code_of, fits
from routeapp.data.imports.rules_plan import fact_id
from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.stock import actions as stock
from routeapp.stock import queries
from routeapp.stock.actions_goods import add_place, add_prize, change_prize
from routeapp.stock.models import Place, PlaceKind, Prize, StockMove


def write_prizes(run: Run, lines: Iterable[Line]) -> None:
    """Make or find the prizes that lines name, and take in the pieces they say."""
    moves: list[StockMove] = []
    for line in lines:
        with run.row(line):
            prize = _prize(run, line)
            if line.get("pieces"):
                moves += _stock(run, line, prize, moves)
    if moves:
        stock.record(moves=moves, by=run.by, at=run.at)


def _prize(run: Run, line: Line) -> Prize:
    name = fits(line.get("prize"), 80, "name of a prize")
    found = Prize.objects.filter(name__iexact=name).first()
    said: dict[str, Any] = {"supplier": fits(line.get("supplier") or "", 120, "name of a supplier")}
    said["low_at"] = line.get("low_at") or 0
    if found is None:
        found = add_prize(name=name, **said, **run.facts)
        run.remember(Noun.PRIZE, found.pk)
        return found
    run.meet(Noun.PRIZE, found.pk)
    if run.was_retired(Noun.PRIZE, found) and found.retired:
        found = change_prize(prize=found, name=found.name, retired=False, **run.facts)
    if empty := empty_columns(run, line, found, said):
        found = change_prize(prize=found, name=found.name, **empty, **run.facts)
        run.remember_filled(Noun.PRIZE, found, empty)
    return found


def _stock(run: Run, line: Line, prize: Prize, under_way: list[StockMove]) -> list[StockMove]:
    """The pieces as a move from the supplier into the store, or into the cabinet that the row names; nothing when an
    earlier file brought the same."""
    cabinet, day = _cabinet(run, line), line.get("visited_on")
    place = stock.cabinet_place(cabinet) if cabinet else _store(run, line)
    uuid, there = _turn(prize, place, day.day if day else "")
    if cabinet and there is None:
        there = _in_store(run, prize, day.day if day else "")
    if any(move.source == uuid for move in under_way):
        raise Refused(f"{prize} stands twice for {place}. Put its pieces into one row, or write the days they came.")
    if there is not None:
        if there.quantity != line.get("pieces"):
            raise Refused(
                f"An earlier file brought {there.quantity:,} pieces of {prize} into {there.to_place}; this one says "
                f"{line.get('pieces'):,}. Take that import back first, or count what lies there instead."
            )
        run.meet(Noun.STOCK, there.pk)
        return []
    at = clock.start_of_day(day.day, run.zone) if day else run.at
    if cabinet and (why_not := queries.why_not_begun(place, at)):
        raise Refused(why_not)
    if cabinet and (other := next((move.at for move in under_way if move.to_place == place and move.at != at), None)):
        said = f"{other.astimezone(ZoneInfo(run.zone)):%-d %B %Y}"
        raise Refused(f"Another row says what was in {place} on {said}. It can be brought once; leave this row out.")
    move = StockMove(
        prize=prize, quantity=line.get("pieces"), from_place=stock.beyond(PlaceKind.SUPPLIER), to_place=place,
        cost_cents=_cost(line), at=at, source=uuid, reason="from a spreadsheet",
    )  # fmt: skip
    run.remember(Noun.STOCK, uuid)
    return [move]


def _turn(prize: Prize, store: Place, day: Any) -> tuple[Any, StockMove | None]:
    """The id that this stock has now, and what stands under it; what was taken back makes room for the next."""
    turn = 0
    while True:
        uuid = fact_id("stock", prize.pk, store.pk, day, turn=turn)
        moves = StockMove.objects.filter(source=uuid, reverses=None)
        if not moves.exists():
            return uuid, None
        if there := moves.filter(reversed_by=None).first():
            return uuid, there
        turn += 1


def _in_store(run: Run, prize: Prize, day: Any) -> StockMove | None:
    """What this very file brought into the store, as it did before its column with the cabinet counted."""
    store = Place.objects.filter(kind=PlaceKind.STORE).order_by("pk").first()
    there = _turn(prize, store, day)[1] if store else None
    if there is None or run.sheet_import is None:
        return None
    brought = Brought.objects.filter(noun=Noun.STOCK, key=str(there.source))
    return there if brought.filter(sheet_import__digest=run.sheet_import.digest).exists() else None


def _cost(line: Line) -> int | None:
    each, whole = line.get("unit_cost"), line.get("total_cost")
    return whole if whole is not None or each is None else each * line.get("pieces")


def _cabinet(run: Run, line: Line) -> Machine | None:
    """The cabinet that a row names, if it names no store: the pieces are inside."""
    if not line.get("code") or line.get("store"):
        return None
    code = code_of(line.get("code"))
    return run.machines.get(code) or Machine.objects.get(code=code)


def _store(run: Run, line: Line) -> Place:
    name = line.get("store")
    stores = Place.objects.filter(kind=PlaceKind.STORE).order_by("pk")
    found = stores.filter(name__iexact=name).first() if name else stores.first()
    if found is None:
        found = add_place(kind=PlaceKind.STORE, name=fits(name or "Store", 80, "name of a store"), **run.facts)
        run.remember(Noun.STORE, found.pk)
    return found
