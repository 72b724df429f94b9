"""Reads about hosts and their contacts."""

from django.db.models import Count, F, Q, QuerySet

from locations.hosts.models import Contact, Host
from routeapp.kit.tables import words_in


def hosts(text: str = "") -> QuerySet:
    """Hosts by name with their contacts and `open_locations`; every word of `text` is in the name or a contact's."""
    found = Host.objects.annotate(open_locations=Count("locations", filter=Q(locations__closed_on=None)))
    for word in words_in(text):
        found = found.filter(
            Q(name__icontains=word) | Q(pk__in=Contact.objects.filter(name__icontains=word).values("host"))
        )
    return found.order_by("name", "pk").prefetch_related("contacts")


def locations_of(host: Host) -> QuerySet:
    """A host's locations with `cabinets`, the number that stand there now; closed ones last."""
    standing = Count("placements", filter=Q(placements__ended_at=None))
    return host.locations.annotate(cabinets=standing).order_by(F("closed_on").desc(nulls_first=True), "name")
