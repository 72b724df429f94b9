"""Who belongs to the business and what they may do; the business itself."""

from datetime import datetime
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from routeapp.kit import audit
from routeapp.kit.access import OWNER
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.rows import write
from routeapp.team import queries
from routeapp.team.models import UNNAMED, Business


@transaction.atomic
def add_person(*, username: str, name: str, role: str, password: str, by: Any, at: datetime) -> Any:
    """Let somebody sign in with one role. Refuses a user name that is taken and a password easy to guess."""
    lock("people")
    if get_user_model().objects.filter(username__iexact=username).exists():
        raise Refused(f"Somebody already signs in as “{username}”. Choose another user name.", "username")
    person = get_user_model()(username=username, first_name=name)
    _set_password(person, password)
    person.save()
    _give_role(person, role)
    audit.record(f"added as {role}", person, by=by or person, at=at)
    return person


@transaction.atomic
def edit_person(*, person: Any, name: str, role: str, active: bool, password: str = "", by: Any, at: datetime) -> Any:
    """Change a person's name, role, password (when one is given) or whether they may sign in at all.

    Refuses to leave the business without an owner who can sign in.
    """
    lock("people")
    person = get_user_model().objects.select_for_update().get(pk=person.pk)
    others = queries.active_owners().exclude(pk=person.pk)
    if (role != OWNER or not active) and person in queries.active_owners() and not others.exists():
        field = "role" if role != OWNER else "active"
        raise Refused("This is the only owner who can sign in. Make somebody else an owner first.", field)
    person.first_name, person.last_name, person.is_active = name, "", active
    changed = f"changed: {role}, {'may sign in' if active else 'may not sign in'}"
    if password:
        _set_password(person, password)
        changed += ", new password"
    person.save(update_fields=["first_name", "last_name", "is_active", "password"])
    _give_role(person, role)
    audit.record(changed, person, by=by, at=at)
    return person


@transaction.atomic
def change_password(*, person: Any, old: str, password: str, by: Any, at: datetime) -> Any:
    """Change one's own password. Refuses a wrong old one and a new one easy to guess."""
    person = get_user_model().objects.select_for_update().get(pk=person.pk)
    if not person.check_password(old):
        raise Refused("That is not the password you signed in with.", "old")
    _set_password(person, password)
    person.save(update_fields=["password"])
    audit.record("changed the own password", person, by=by, at=at)
    return person


@transaction.atomic
def make_owner(*, username: str, password: str, by: Any = None, at: datetime) -> Any:
    """Make the first owner, or let an owner back in who lost the password; makes the business where there is none.

    Run from the console, where nobody is signed in: without `by` the owner signs for it. Refuses a password
    easy to guess.
    """
    Business.objects.get_or_create(pk=1, defaults={"name": UNNAMED})
    person = get_user_model().objects.filter(username=username).first()
    if person is None:
        return add_person(username=username, name=username.title(), role=OWNER, password=password, by=by, at=at)
    name = person.get_full_name() or username.title()
    return edit_person(person=person, name=name, role=OWNER, active=True, password=password, by=by or person, at=at)


@transaction.atomic
def edit_business(
    *, name: str, currency: str, time_zone: str, contact: str, units: str, by: Any, at: datetime
) -> Business:
    """Change what the business is called and where it stands. Refuses another currency once cabinets have prices."""
    business = Business.objects.select_for_update().first() or Business(pk=1)
    if currency != business.currency and queries.currency_is_settled():
        raise Refused(f"Prices and takes are kept in {business.currency}, so the currency stays.", "currency")
    columns = {"name": name, "currency": currency, "time_zone": time_zone, "contact": contact, "units": units}
    write(business, columns)
    audit.record("changed the business", business, by=by, at=at)
    return business


def _give_role(person: Any, role: str) -> None:
    person.groups.set([Group.objects.get_or_create(name=role)[0]])


def _set_password(person: Any, password: str) -> None:
    try:
        validate_password(password, person)
    except ValidationError as problem:
        raise Refused(" ".join(problem.messages), "password") from None
    person.set_password(password)
