"""Counts of bags: those that wait for a second counter, and the list of them all."""

from django.db.models import ExpressionWrapper, F, IntegerField, OuterRef, QuerySet, Subquery, Sum

from routeapp.cash.models import Bag, BagCount, BlindCount, Sealed


def waiting(bag: Bag) -> QuerySet:
    """What people found for themselves in a bag and nobody has settled yet."""
    return BlindCount.objects.live().filter(bag=bag, settled_by=None)


def counts() -> QuerySet:
    """Every count of a bag, the last written down first, with the `estimate` of the meters for what was sealed in it
    and whether it `holds`: the newest live one of its bag does."""
    sealed = Sealed.objects.live().filter(bag=OuterRef("bag")).order_by().values("bag")
    newest = BagCount.objects.live().filter(bag=OuterRef("bag")).order_by("-at", "-uuid").values("pk")[:1]
    return (
        BagCount.objects.select_related("bag__location", "by", "second", "withdrawn_by")
        .annotate(
            estimate=Subquery(sealed.annotate(all=Sum("estimate_cents")).values("all"), output_field=IntegerField()),
            newest=Subquery(newest),
            off=ExpressionWrapper(F("cents") - F("estimate"), IntegerField()),
        )
        .order_by("-received_at", "-pk")
    )
