"""People as pages name them, and those who can be chosen."""

from typing import Any

from django.contrib.auth import get_user_model
from django.db.models import QuerySet


def called(person: Any) -> str:
    return person.get_full_name() or person.username


def active_people() -> QuerySet:
    """Those who can sign in, by name."""
    return get_user_model().objects.filter(is_active=True).order_by("first_name", "username")
