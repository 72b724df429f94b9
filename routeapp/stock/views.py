"""Pages that say what prizes we have, where, worth what, and which moves that comes from."""

from functools import partial
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from routeapp.kit.access import EVERYONE, allow
from routeapp.kit.htmx import page
from routeapp.kit.tables import Column, Table, person
from routeapp.stock import queries_overview as overview
from routeapp.stock.forms import MovesFilter
from routeapp.stock.models import Place, StockMove


def _remark(line: overview.PrizeLine) -> str:
    if line.pieces < 0:
        return "count it"
    if below := [str(place) for place, pieces in line.cells if place and pieces < 0]:
        return f"count {' and '.join(below)}"
    return "no longer bought" if line.prize.retired else "small parts" if line.prize.small_parts else ""


PRIZE = (
    Column("prize", "Prize", "prize.name", link=lambda line: f"{reverse('stock-moves')}?prize={line.prize.pk}"),
    Column("remark", "Remark", _remark, "state", shape=lambda line: "none" if line.prize.retired else "warn"),
    Column("supplier", "Supplier", "prize.supplier"),
    Column("pieces", "In all", "pieces", "count", adds_up=True),
    Column("worth", "Worth", "worth_cents", "cash", adds_up=True),
    Column("each", "Each", "unit_cents", "cash"),
)


def _stock_table(places: list[Place | None]) -> Table:
    """What each prize has in all, and in each place."""
    by_place = (
        Column(
            f"place-{place.pk}" if place else "cabinets",
            str(place or "Cabinets"),
            partial(_pieces, number),
            "count",
            link=partial(_moves, place),
            adds_up=True,
        )
        for number, place in enumerate(places)
    )
    return Table("prizes in stock", (*PRIZE, *by_place), hint="Prize or supplier", rows_a_page=200)


def _pieces(number: int, line: overview.PrizeLine) -> int | None:
    return line.cells[number][1] or None


def _moves(place: Place | None, line: overview.PrizeLine) -> str:
    """What moved the prize into the place and out of it."""
    where = f"place={place.pk}" if place else "kind=cabinet"
    return f"{reverse('stock-moves')}?prize={line.prize.pk}&{where}"


@allow(*EVERYONE)
def stock(request: HttpRequest) -> HttpResponse:
    found = overview.overview()
    table = _stock_table([place for place, _, _ in found.columns])
    return table.answer(request, "routeapp/stock/stock_overview.html", found.lines, overview=found)


def _delivery_of(move: StockMove) -> str:
    """A move leads to the delivery that brought it."""
    return reverse("delivery", args=[move.source]) if move.cost_cents is not None and move.source else ""


MOVES = Table(
    "moves of prizes",
    (
        Column("when", "When", "at", "moment"),
        Column("prize", "Prize", "prize.name"),
        Column("pieces", "Pieces", "quantity", "count"),
        Column("from", "From", "from_place.name"),
        Column("to", "To", "to_place.name"),
        Column("why", "Why", overview.why, link=_delivery_of),
        Column("who", "Who", person("by")),
        Column("entered", "Entered", lambda move: move.received_at if move.received_at != move.at else None, "moment"),
    ),
    find=("prize__name", "from_place__name", "to_place__name", "reason", "settles__reason"),
    hint="Prize, place or reason",
    endless=True,
)


@allow(*EVERYONE)
def stock_moves(request: HttpRequest) -> HttpResponse:
    form = MovesFilter(request.GET)
    chosen = form.chosen()
    context = {**chosen, "form": form, "pieces": overview.pieces_now(**chosen)}
    return MOVES.answer(request, "routeapp/stock/move_list.html", overview.moves(**chosen), **context)


DELIVERIES = Table(
    "deliveries",
    (
        Column("when", "When", "at", "moment", link=lambda one: reverse("delivery", args=[one.uuid])),
        Column("supplier", "Supplier", lambda one: one.supplier or "A supplier", order="supplier"),
        Column("paper", "Paper", "paper"),
        Column("pieces", "Pieces", "pieces", "count"),
        Column("cost", "Cost", "cost_cents", "cash"),
        Column("who", "Taken in by", person("by"), order="by__first_name"),
        Column(
            "state",
            "State",
            lambda one: "withdrawn" if one.withdrawn_at else "",
            "state",
            False,
            shape=lambda one: "none",
        ),
    ),
    find=("supplier", "paper"),
    hint="Supplier or paper",
)


@allow(*EVERYONE)
def deliveries(request: HttpRequest) -> HttpResponse:
    return DELIVERIES.answer(request, "routeapp/stock/delivery_list.html", overview.deliveries())


@allow(*EVERYONE)
def delivery(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = get_object_or_404(overview.deliveries(), uuid=uuid)
    return page(request, "routeapp/stock/delivery_page.html", {"delivery": found, "lines": overview.delivered(uuid)})
