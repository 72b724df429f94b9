"""Bringing a cabinet to a location and taking it away, as its pages are sent."""

import uuid
from datetime import UTC, datetime

from django.urls import reverse

from routeapp.stock import queries as stock_queries

MAY = datetime(2026, 5, 1, 9, tzinfo=UTC)


def address(claw, mill):
    return f"{reverse('placement-assign')}?cabinet={claw.code}&location={mill.pk}"


def opening(**changed):
    return {"uuid": str(uuid.uuid4()), "at": "2026-05-10T14:30", "spot": "left of the door"} | changed


def pieces(place, prize):
    return stock_queries.contents([place.pk])[place.pk].get(prize.pk, 0)


def errors(response):
    assert response.status_code == 422
    return set(response.context["form"].errors)
