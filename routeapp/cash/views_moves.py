"""The list of every move of money."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from routeapp.cash.queries import moves
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.tables import Column, Table, person


def _to_bag(move: Any) -> str:
    return reverse("bag", args=[move.bag_id]) if move.bag_id else ""


MOVES = Table(
    "moves of money",
    (
        Column("when", "When", "at", "moment", zone="location.time_zone"),
        Column("cents", "Amount", "cents", "cash"),
        Column("from", "From", "get_from_purse_display"),
        Column("to", "To", "get_to_purse_display"),
        Column("cabinet", "Cabinet", "machine.code"),
        Column("location", "Location", "location.name"),
        Column("bag", "Bag", "bag.number", link=_to_bag),
        Column("why", "Why", lambda move: "takes back what was entered wrongly" if move.reverses_id else move.reason),
        Column("who", "Who", person("by")),
    ),
    find=("machine__code", "location__name", "bag__number", "reason"),
    hint="Cabinet, location, bag or reason",
    endless=True,
)


@allow(OWNER, BOOKKEEPER)
def move_list(request: HttpRequest) -> HttpResponse:
    return MOVES.answer(request, "routeapp/cash/move_list.html", moves())
