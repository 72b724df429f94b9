"""Shorthand for the papers that the tests of the stock room write."""

from uuid import uuid4

from routeapp.stock import actions_papers
from routeapp.stock.actions_papers import Delivered


def deliver(store, lines, by, at, uuid=None):
    """A delivery of (prize, pieces, cost of all) lines."""
    return actions_papers.deliver(
        uuid=uuid or uuid4(),
        supplier="Hill & Dale",
        paper="",
        to_place=store,
        lines=[Delivered(*line) for line in lines],
        by=by,
        at=at,
        received_at=at,
    )


def carry(start, end, lines, by, at, uuid=None):
    return actions_papers.carry(
        uuid=uuid or uuid4(), from_place=start, to_place=end, lines=lines, by=by, at=at, received_at=at
    )


def count(place, found, by, at, reason="not known", uuid=None):
    return actions_papers.count_place(
        uuid=uuid or uuid4(), place=place, found=found, reason=reason, by=by, at=at, received_at=at
    )
