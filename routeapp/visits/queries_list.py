"""All visits with what their list shows."""

from django.db.models import Count, OuterRef, QuerySet, Subquery, Sum

from routeapp.visits.models import HostPayment, ServiceEntry, Visit


def listed() -> QuerySet:
    """Visits, the latest first, each with `cabinets` touched, `counted` cash and what the host was `paid`."""
    entries = ServiceEntry.objects.filter(visit=OuterRef("pk")).order_by().values("visit")
    return (
        Visit.objects.select_related("location", "made_by")
        .defer("document")
        .annotate(
            cabinets=Subquery(entries.annotate(n=Count("pk")).values("n")),
            counted=Subquery(entries.annotate(n=Sum("cents")).values("n")),
            paid=Subquery(HostPayment.objects.filter(visit=OuterRef("pk")).values("cents")),
        )
        .order_by("-at", "pk")
    )
