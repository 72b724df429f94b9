"""Reads about the business and its people."""

from django.contrib.auth import get_user_model
from django.db.models import QuerySet

from routeapp.team.models import Business


def business() -> Business:
    """The business, or an unsaved stand-in while the installation is still empty."""
    return Business.objects.first() or Business(pk=1, name="Keyround")


def people() -> QuerySet:
    """Everyone who can or could sign in, with their roles."""
    return get_user_model().objects.prefetch_related("groups").order_by("-is_active", "first_name", "username")
