"""The list of every count of a bag."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from routeapp.cash.queries_counts import counts
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.tables import Column, Table, person


def _state(count: Any) -> tuple[str, str]:
    if count.withdrawn_at:
        return "withdrawn", "bad"
    return ("holds", "good") if count.newest == count.pk else ("counted again later", "none")


COUNTS = Table(
    "counts of bags",
    (
        Column("bag", "Bag", "bag.number", link=lambda count: reverse("bag", args=[count.bag_id])),
        Column("cents", "Found", "cents", "cash"),
        Column("off", "Against the meters", "off", "over_short", order="off"),
        Column("how", "How", "get_how_display", order="how"),
        Column("by", "Counted by", person("by"), order="by__first_name"),
        Column("second", "With", person("second"), order="second__first_name"),
        Column("at", "When", "at", "moment", zone="bag.location.time_zone"),
        Column("location", "Filled at", "bag.location.name"),
        Column("state", "State", lambda one: _state(one)[0], "state", order=False, shape=lambda one: _state(one)[1]),
        Column("note", "Remarks", "note"),
    ),
    find=("bag__number", "bag__location__name", "by__first_name", "by__username", "second__first_name", "note"),
    hint="Bag, location, person or remark",
)


@allow(OWNER, BOOKKEEPER)
def count_list(request: HttpRequest) -> HttpResponse:
    return COUNTS.answer(request, "routeapp/cash/count_list.html", counts())
