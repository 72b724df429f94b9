"""The first page of an empty installation: the business and its first owner."""

from datetime import datetime
from typing import Any

from django.db import transaction

from routeapp.kit.access import OWNER
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.team.actions import add_person, edit_business
from routeapp.team.queries import nobody_yet


@transaction.atomic
def begin(
    *,
    username: str,
    own_name: str,
    password: str,
    name: str,
    currency: str,
    time_zone: str,
    units: str,
    by: Any,
    at: datetime,
) -> Any:
    """Make the business and the first owner, who signs for both. Refuses once somebody can sign in."""
    lock("people")
    if not nobody_yet():
        raise Refused("Somebody has set this up meanwhile. Sign in instead.")
    person = add_person(username=username, name=own_name, role=OWNER, password=password, by=by, at=at)
    edit_business(name=name, currency=currency, time_zone=time_zone, contact="", units=units, by=person, at=at)
    return person
