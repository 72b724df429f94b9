"""Writing down locations, their hours, and their closing."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from locations.hosts.actions import host_named
from locations.hosts.models import Host
from locations.sites import rules
from locations.sites.models import Location, OpeningHours
from locations.sites.rules import Stretch
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.rows import write


@transaction.atomic
def add_location(*, name: str, new_host: str = "", by: Any, at: datetime, **columns: Any) -> Location:
    """Add a location of a host, or of a new host named `new_host`; `columns` are the location's own.

    Refuses a name that another location has; the same location sent twice is one.
    """
    lock("location", name.lower())
    if new_host:
        columns["host"] = host_named(name=new_host, by=by, at=at)
    same = Location.objects.filter(name=name, **columns).first()
    if same is not None:
        return same
    _check_name(name)
    location = Location.objects.create(name=name, **columns)
    audit.record("added location", location, by=by, at=at)
    return location


@transaction.atomic
def edit_location(
    *, location: Location, name: str, new_host: str = "", by: Any, at: datetime, **columns: Any
) -> Location:
    """Change a location. Refuses a name that another location has, and another host once terms were agreed with one."""
    lock("location", name.lower())
    location = Location.objects.select_for_update().get(pk=location.pk)
    _check_name(name, besides=location)
    if new_host:
        columns["host"] = host_named(name=new_host, by=by, at=at)
    _check_host(location, columns.get("host", location.host))
    write(location, {"name": name, **columns})
    audit.record("changed location", location, by=by, at=at)
    return location


def _check_host(location: Location, host: Host) -> None:
    """Settlements and what is owed belong to the location: another host would see and get what is not theirs."""
    if host == location.host:
        return
    if any(facts.filter(withdrawn_at=None).exists() for facts in (location.agreements, location.settlements)):
        raise Refused(
            f"Terms were agreed with {location.host}, and its settlements are theirs. If the place changed hands, "
            "rename this one, close it, and add it anew with its new host. If the host was wrong from the start, "
            "make the settlements void and withdraw the terms first.",
            "host",
        )


def _check_name(name: str, besides: Location | None = None) -> None:
    taken = Location.objects.filter(name__iexact=name).exclude(pk=besides.pk if besides else None).first()
    if taken is not None:
        raise Refused(f"There is already a location named {taken.name}.", "name")


@transaction.atomic
def set_hours(*, location: Location, hours: Mapping[int, Sequence[Stretch]], by: Any, at: datetime) -> None:
    """Replace a location's opening hours. Refuses stretches that overlap or end before they start."""
    location = Location.objects.select_for_update().get(pk=location.pk)
    for stretches in hours.values():
        if text := rules.problem(stretches):
            raise Refused(text)
    location.opening_hours.all().delete()
    OpeningHours.objects.bulk_create(
        OpeningHours(location=location, weekday=weekday, opens=opens, closes=closes)
        for weekday, stretches in hours.items()
        for opens, closes in stretches
    )
    audit.record("set opening hours", location, by=by, at=at)


@transaction.atomic
def close_location(*, location: Location, day: date, by: Any, at: datetime) -> None:
    """Note that no cabinet will stand here any more. Refused while one does."""
    location = Location.objects.select_for_update().get(pk=location.pk)
    standing = location.placements.filter(ended_at=None).count()
    if standing:
        cabinets = "a cabinet stands" if standing == 1 else f"{standing} cabinets stand"
        raise Refused(f"{location} stays open: {cabinets} there. End each placement first.")
    if location.closed_on is None:
        location.closed_on = day
        location.save(update_fields=["closed_on"])
        audit.record("closed location", location, by=by, at=at)
