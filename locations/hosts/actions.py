"""Writing down hosts and whom to talk to there."""

from datetime import datetime
from typing import Any

from django.db import transaction

from locations.hosts.models import Contact, Host
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock


@transaction.atomic
def add_host(*, name: str, notes: str = "", by: Any, at: datetime) -> Host:
    """Add a host. Refuses a name that another host has; the same host sent twice is one."""
    lock("host", name.lower())
    same = Host.objects.filter(name=name, notes=notes).first()
    if same is not None:
        return same
    _check_name(name)
    host = Host.objects.create(name=name, notes=notes)
    audit.record("added host", host, by=by, at=at)
    return host


@transaction.atomic
def host_named(*, name: str, by: Any, at: datetime) -> Host:
    """The host of this name, added when there is none yet."""
    lock("host", name.lower())
    return Host.objects.filter(name__iexact=name).first() or add_host(name=name, by=by, at=at)


@transaction.atomic
def edit_host(*, host: Host, name: str, notes: str, by: Any, at: datetime) -> Host:
    """Change a host's name and notes. Refuses a name that another host has."""
    lock("host", name.lower())
    host = Host.objects.select_for_update().get(pk=host.pk)
    _check_name(name, besides=host)
    host.name, host.notes = name, notes
    host.save(update_fields=["name", "notes"])
    audit.record("changed host", host, by=by, at=at)
    return host


def _check_name(name: str, besides: Host | None = None) -> None:
    taken = Host.objects.filter(name__iexact=name).exclude(pk=besides.pk if besides else None).first()
    if taken is not None:
        raise Refused(f"There is already a host named {taken.name}.", "name")


@transaction.atomic
def add_contact(*, host: Host, name: str, role: str, phone: str, email: str, by: Any, at: datetime) -> Contact:
    """Add somebody to talk to. The same person sent twice is one."""
    host = Host.objects.select_for_update().get(pk=host.pk)
    said = {"host": host, "name": name, "role": role, "phone": phone, "email": email}
    if same := Contact.objects.filter(**said).first():  # changing one can make it the same as another
        return same
    contact = Contact.objects.create(**said)
    audit.record("added contact", contact, by=by, at=at)
    return contact


@transaction.atomic
def edit_contact(*, contact: Contact, name: str, role: str, phone: str, email: str, by: Any, at: datetime) -> Contact:
    contact = Contact.objects.select_for_update().get(pk=contact.pk)
    contact.name, contact.role, contact.phone, contact.email = name, role, phone, email
    contact.save(update_fields=["name", "role", "phone", "email"])
    audit.record("changed contact", contact, by=by, at=at)
    return contact


@transaction.atomic
def remove_contact(*, contact: Contact, by: Any, at: datetime) -> None:
    """Forget somebody who is no longer there: a person's number is not kept longer than it is needed."""
    audit.record("removed contact", contact, by=by, at=at)
    contact.delete()
