"""The list of all visits."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from routeapp.kit.access import EVERYONE, allow
from routeapp.kit.tables import Column, Table, person
from routeapp.visits.queries_list import listed


def _state(visit: Any) -> str:
    if visit.void:
        return "a withdrawal"
    if visit.withdrawn_at:
        return "withdrawn"
    return "a correction" if visit.replaces else ""


def _to_visit(visit: Any) -> str:
    return reverse("visit", args=[visit.pk])


VISITS = Table(
    "visits",
    (
        Column("when", "Arrived", "at", "moment", zone="location.time_zone", link=_to_visit),
        Column("location", "Location", "location.name"),
        Column("by", "Who", person("made_by"), order="made_by__first_name"),
        Column("cabinets", "Cabinets", "cabinets", "count"),
        Column("counted", "Counted there", "counted", "cash"),
        Column("paid", "Host was paid", "paid", "cash"),
        Column("state", "State", _state, "state", order="withdrawn_at", shape=lambda visit: "none"),
        Column("note", "Note", "note"),
    ),
    find=("location__name", "made_by__first_name", "made_by__username", "note", "reason"),
    hint="Location, person or note",
)


@allow(*EVERYONE)
def visit_list(request: HttpRequest) -> HttpResponse:
    return VISITS.answer(request, "routeapp/visits/visit_list.html", listed())
