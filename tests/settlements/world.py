"""One location with two cabinets, what was agreed there, its visits, and settling them."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

from locations.agreements.actions import add_agreement, end_agreement
from locations.agreements.models import Agreement
from locations.agreements.rules_terms import TermLine
from routeapp.settlements import actions, queries_drafts
from tests import factories
from tests.visits.books import START, document, entry, make_world, record

MARCH, APRIL, MAY = date(2026, 3, 1), date(2026, 4, 1), date(2026, 5, 1)
IN_MARCH, IN_APRIL, IN_MAY = (datetime(2026, month, 20, 12, tzinfo=UTC) for month in (3, 4, 5))
FORTY = [TermLine("share", 4000)]


def arcade(owner, **agreed):
    """The location, with 40 % of the take by the month from 1 March on unless told otherwise."""
    world = make_world(owner)
    agree(world, **agreed)
    return world


def agree(world, terms=FORTY, *, starts_on=MARCH, received_at=factories.LONG_AGO, **chosen):
    chosen = {"settled": "month", "paid": "transfer", **chosen}
    return add_agreement(
        location=world.location,
        starts_on=starts_on,
        terms=terms,
        by=world.person,
        at=received_at,
        received_at=received_at,
        **chosen,
    )


def end(world, last_day):
    """From then on nothing is agreed."""
    held = Agreement.objects.live().filter(location=world.location, machine=None).latest("starts_on")
    return end_agreement(agreement=held, last_day=last_day, by=world.person, at=IN_MARCH)


def visit(world, name, days, cents=10_000, *, pay=0, received=None, cabinet=0, **more):
    """A visit `days` after 2 March that took cash from one cabinet; `pay` goes to the host on the spot."""
    said = {"entries": [] if cents is None else [entry(world, name, cabinet, cents=cents)], **more}
    if pay:
        said["host_payment"] = {"cents": pay, "received_by": "Mika"}
    raw = document(world, name, days=days, **said)
    return record(world, raw, at=received or START + timedelta(days=days, hours=1))[0]


def sealed(world, name, days, cabinet=0, **more):
    """A visit that brought one cabinet's cash home uncounted. Gives the bag's id."""
    bag = {"id": str(uuid4()), "number": f"S-{name}"}
    cash = {"taken": "sealed", "bag": bag, "estimate_cents": 100}
    visit(world, name, days, None, entries=[entry(world, name, cabinet, cash=cash)], **more)
    return bag["id"]


def drafts(world, now=IN_APRIL):
    return queries_drafts.due(now, [world.location.pk])


def issue(world, now=IN_APRIL, since=None, **more):
    """Issue the oldest draft, or the one from a day on."""
    found = next(one for one in drafts(world, now) if since in (None, one.stretch.since))
    found = queries_drafts.draft(world.location, found.stretch.since, now)
    said = {"uuid": uuid4(), "location": world.location, "since": found.stretch.since, "seen_cents": found.cents}
    return actions.issue(**{**said, **more}, by=world.person, at=now)
