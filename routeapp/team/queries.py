"""Reads about the business, its people, and the log of what they did."""

from typing import Any

from django.contrib.admin.models import LogEntry
from django.contrib.auth import get_user_model
from django.db.models import QuerySet

from machines.models import Machine
from routeapp.kit.access import OWNER
from routeapp.kit.prepared import Prepared
from routeapp.team.models import UNNAMED, Business


def business() -> Business:
    """The business, or an unsaved stand-in while the installation is still empty."""
    return next(iter(_business()), None) or Business(pk=1, name=UNNAMED)


_business = Prepared(lambda: Business.objects.order_by("pk")[:1])


def currency_is_settled() -> bool:
    """Prices are kept in minor units of the currency, so it can no longer change once a cabinet has a price."""
    return Machine.objects.exists()


def people() -> QuerySet:
    """Everyone who can or could sign in, with their roles."""
    return get_user_model().objects.prefetch_related("groups").order_by("-is_active", "first_name", "username")


def nobody_yet() -> bool:
    return not get_user_model().objects.exists()


def active_owners() -> QuerySet:
    return get_user_model().objects.filter(is_active=True, groups__name=OWNER)


def log_lines(person: Any = None) -> QuerySet:
    """The log, of one person or of everybody, newest first."""
    lines = LogEntry.objects.select_related("user", "content_type").order_by("-pk")
    return lines if person is None else lines.filter(user=person)
