"""Pages that say what prizes we have, where, worth what, and which moves that comes from."""

from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from routeapp.kit.access import EVERYONE, allow
from routeapp.kit.htmx import page
from routeapp.stock import queries_overview as overview
from routeapp.stock.forms import MovesFilter

LINES_A_PAGE = 50


@allow(*EVERYONE)
def stock(request: HttpRequest) -> HttpResponse:
    found, text = overview.overview(), request.GET.get("q", "")
    context = {"overview": found, "lines": overview.matching(found.lines, text), "text": text}
    return page(request, "routeapp/stock/stock_overview.html", context, part="rows")


@allow(*EVERYONE)
def stock_moves(request: HttpRequest) -> HttpResponse:
    form = MovesFilter(request.GET)
    chosen, number = form.chosen(), form.page_number()
    # One line more than shown tells whether there is an older page, without counting years of moves.
    start = (number - 1) * LINES_A_PAGE
    lines = list(overview.moves(**chosen)[start : start + LINES_A_PAGE + 1])
    context = {
        **chosen,
        "form": form,
        "lines": lines[:LINES_A_PAGE],
        "pieces": overview.pieces_now(**chosen),
        "newer": number - 1,
        "older": number + 1 if len(lines) > LINES_A_PAGE else None,
    }
    return page(request, "routeapp/stock/move_list.html", context)


@allow(*EVERYONE)
def deliveries(request: HttpRequest) -> HttpResponse:
    found = Paginator(overview.deliveries(), LINES_A_PAGE).get_page(request.GET.get("page"))
    return page(request, "routeapp/stock/delivery_list.html", {"deliveries": found})


@allow(*EVERYONE)
def delivery(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = get_object_or_404(overview.deliveries(), uuid=uuid)
    return page(request, "routeapp/stock/delivery_page.html", {"delivery": found, "lines": overview.delivered(uuid)})
