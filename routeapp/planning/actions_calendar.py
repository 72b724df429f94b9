"""Making and revoking the addresses by which calendar programs follow somebody's rounds."""

import secrets
from datetime import datetime
from typing import Any

from django.db import transaction

from routeapp.kit import audit
from routeapp.kit.locks import lock
from routeapp.planning.models_rounds import CalendarLink

BYTES = 24  # 192 bits: nobody guesses it


@transaction.atomic
def make_link(*, person: Any, by: Any, at: datetime) -> CalendarLink:
    """A new address for a person's rounds; the one before stops working."""
    lock("calendar", person.pk)
    CalendarLink.objects.filter(person=person, revoked_at=None).update(revoked_at=at)
    link = CalendarLink.objects.create(person=person, token=secrets.token_urlsafe(BYTES), by=by, at=at)
    audit.record("made a link to", link, by=by, at=at)
    return link


@transaction.atomic
def revoke_link(*, person: Any, by: Any, at: datetime) -> None:
    """The address stops working. Revoked twice is revoked once."""
    link = CalendarLink.objects.select_for_update().filter(person=person, revoked_at=None).first()
    if link is not None:
        link.revoked_at = at
        link.save(update_fields=["revoked_at"])
        audit.record("revoked the link to", link, by=by, at=at)
