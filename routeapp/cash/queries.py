"""Where the money is: bags, what they hold, who has them."""

from collections.abc import Callable, Iterable
from datetime import datetime
from uuid import UUID

from django.db.models import Case, Count, Exists, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce, NullIf

from routeapp.cash.models import Bag, BagCount, BagMove, CashMove, Holder, Purse, Sealed


def in_and_out(purse: Purse) -> Sum:
    """Money into `purse` less money out of it."""
    return Coalesce(
        Sum(Case(When(to_purse=purse, then=F("cents")), When(from_purse=purse, then=-F("cents")), default=0)), 0
    )


def bags() -> QuerySet:
    """All bags with `holds` (minor units), `holder`, `with_person`, `there_since`, `counted` and `has_sealed`."""
    held = CashMove.objects.filter(bag=OuterRef("pk")).order_by().values("bag").annotate(all=in_and_out(Purse.BAG))
    last = BagMove.objects.live().filter(bag=OuterRef("pk")).order_by("-at", "-pk")
    name = Coalesce(NullIf("person__first_name", Value("")), "person__username")
    return Bag.objects.select_related("location", "by").annotate(
        holds=Coalesce(Subquery(held.values("all"), output_field=IntegerField()), 0),
        holder=Subquery(last.values("holder")[:1]),
        with_person=Subquery(last.values_list(name)[:1]),
        there_since=Subquery(last.values("at")[:1]),
        counted=Exists(BagCount.objects.live().filter(bag=OuterRef("pk"))),
        has_sealed=Exists(Sealed.objects.live().filter(bag=OuterRef("pk"))),
    )


def uncounted_bags() -> QuerySet:
    """Sealed bags nobody has counted yet, oldest first."""
    return bags().filter(has_sealed=True, counted=False).order_by("at", "pk")


def bags_to_bank() -> QuerySet:
    """Bags that hold money and are not at the bank."""
    banked = BagMove.objects.live().filter(bag=OuterRef("pk"), holder=Holder.BANK)
    # Asked first, because it leaves few bags whose moves have to be added up; bag by bag, for who asks of some weeks.
    return bags().exclude(Exists(banked)).exclude(holds=0)


def held_by() -> QuerySet:
    """Who has money that is not at the bank: `holder`, `with_person`, how many `bags` and `cents`."""
    rows = bags_to_bank().order_by("holder", "with_person").values("holder", "with_person")
    return rows.annotate(bags=Count("pk"), cents=Sum("holds"))


def held_cents(bag: UUID, besides: Iterable[UUID]) -> int:
    """What is in a bag, leaving out what some documents put in or took out."""
    moves = CashMove.objects.filter(bag__uuid=bag).exclude(source__isnull=False, source__in=list(besides))
    return moves.aggregate(all=in_and_out(Purse.BAG))["all"]


def noted_cents(bag: Bag) -> int:
    """What should be in a bag by what was said: cash counted at the site less what was paid out of it since."""
    said = CashMove.objects.filter(bag=bag).exclude(source=bag.uuid).exclude(to_purse=Purse.BANK)
    return said.exclude(from_purse=Purse.BANK).aggregate(all=in_and_out(Purse.BAG))["all"]


def spent_since(bag: Bag) -> Callable[[datetime], int]:
    """What was spent out of a bag, or given back to players, after a moment: it was still there when it was counted."""
    spent = CashMove.objects.filter(Q(to_purse__in=SPENT) | Q(from_purse__in=SPENT), bag=bag)
    rows = [
        (at, cents if to_purse in SPENT else -cents)
        for at, cents, to_purse in spent.values_list("at", "cents", "to_purse")
    ]
    return lambda moment: sum(cents for at, cents in rows if at > moment)


SPENT = (Purse.COSTS, Purse.REFUNDS)


def moves() -> QuerySet:
    """Every move of money, the last written down first: by number there is an index, and there may be millions."""
    return CashMove.objects.select_related("machine", "location", "bag", "by").order_by("-pk")


def take(moves: QuerySet | None = None) -> QuerySet:
    """The moves that are take: money players put in (and what a correction took back)."""
    return (CashMove.objects.all() if moves is None else moves).filter(
        Q(from_purse=Purse.PLAYERS) | Q(to_purse=Purse.PLAYERS)
    )


def card_sales(moves: QuerySet) -> QuerySet:
    """Those of the moves that are take by card."""
    return moves.filter(
        Q(from_purse=Purse.PLAYERS, to_purse=Purse.CARDS) | Q(from_purse=Purse.CARDS, to_purse=Purse.PLAYERS)
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
