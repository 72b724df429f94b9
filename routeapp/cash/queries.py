"""Where the money is: bags, what they hold, who has them."""

from collections.abc import Iterable

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Sum, When
from django.db.models.functions import Coalesce

from routeapp.cash.models import Bag, BagCount, BagMove, CashMove, Holder, Purse, Sealed


def in_and_out(purse: Purse) -> Sum:
    """Money into `purse` less money out of it."""
    return Coalesce(
        Sum(Case(When(to_purse=purse, then=F("cents")), When(from_purse=purse, then=-F("cents")), default=0)), 0
    )


def bags() -> QuerySet:
    """All bags with `holds` (minor units), `holder`, `with_person`, `counted` and `has_sealed`."""
    held = CashMove.objects.filter(bag=OuterRef("pk")).order_by().values("bag").annotate(all=in_and_out(Purse.BAG))
    last = BagMove.objects.live().filter(bag=OuterRef("pk")).order_by("-at", "-pk")
    return Bag.objects.select_related("location", "by").annotate(
        holds=Coalesce(Subquery(held.values("all"), output_field=IntegerField()), 0),
        holder=Subquery(last.values("holder")[:1]),
        with_person=Subquery(last.values("person__first_name")[:1]),
        counted=Exists(BagCount.objects.live().filter(bag=OuterRef("pk"))),
        has_sealed=Exists(Sealed.objects.live().filter(bag=OuterRef("pk"))),
    )


def uncounted_bags() -> QuerySet:
    """Sealed bags nobody has counted yet, oldest first."""
    return bags().filter(has_sealed=True, counted=False).order_by("at")


def bags_to_bank() -> QuerySet:
    """Bags that hold money and are not at the bank."""
    return bags().exclude(holds=0).exclude(holder=Holder.BANK)


def take(moves: QuerySet | None = None) -> QuerySet:
    """The moves that are take: money players put in (and what a correction took back)."""
    return (CashMove.objects.all() if moves is None else moves).filter(
        Q(from_purse=Purse.PLAYERS) | Q(to_purse=Purse.PLAYERS)
    )


TAKE = Sum(Case(When(from_purse=Purse.PLAYERS, then=F("cents")), default=-F("cents")))


def take_by_entry(entries: Iterable) -> dict:
    """Counted take by service entry id, in minor units; entries whose cash was not counted yet are missing."""
    entries = entries if isinstance(entries, QuerySet) else list(entries)
    rows = take().filter(entry__in=entries).order_by().values_list("entry").annotate(cents=TAKE)
    return dict.fromkeys(counted_later(entries), 0) | {entry: cents for entry, cents in rows if cents}


def counted_later(entries: Iterable) -> QuerySet:
    """Those of the service entries whose sealed cash was counted, also when there was nothing in the bag."""
    counted = Exists(BagCount.objects.live().filter(bag=OuterRef("bag")))
    return Sealed.objects.live().filter(counted, source__in=entries).values_list("source", flat=True).order_by()
