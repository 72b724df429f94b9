"""Statements of an invented processor, and what is done with them at the table."""

from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile

from routeapp.cards import actions
from routeapp.cards.models import CardStatement
from tests.visits.books import FOREVER

HEAD = "Date,Reader,Amount,Fee,Id"
COLUMNS = {"0": "day", "1": "serial", "2": "amount", "3": "fee", "4": "reference"}


def take_file(person, *lines, head=HEAD, name="march.csv", at=FOREVER):
    file = SimpleUploadedFile(name, "\n".join((head, *lines)).encode())
    return actions.take_file(uuid=uuid4(), file=file, by=person, at=at)


def said(person, *lines, columns=COLUMNS, zone="UTC", kinds=None, order="", **more):
    """A statement whose columns were named."""
    statement = take_file(person, *lines, **more)
    plan = {"heading": 1, "columns": columns, "zone": zone, "order": order, "kinds": kinds or {}}
    actions.say(statement=statement, said=plan, by=person, at=more.get("at", FOREVER))
    return CardStatement.objects.get(pk=statement.pk)


def brought(person, *lines, **more):
    """A statement in the books."""
    statement = said(person, *lines, **more)
    actions.bring_in(statement=statement, by=person, at=more.get("at", FOREVER))
    return CardStatement.objects.get(pk=statement.pk)


def fit(person, serial, machine, at, **more):
    facts = {"uuid": uuid4(), "by": person, "at": at, "received_at": at} | more
    return actions.fit_reader(serial=serial, machine=machine, **facts)
