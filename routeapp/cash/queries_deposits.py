"""Deposits: which bags went, what their slips say, what the bank found in them."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Case, Count, IntegerField, OuterRef, QuerySet, Subquery, When
from django.db.models.functions import Coalesce
from django.utils import timezone

from routeapp.cash import rules_slip
from routeapp.cash.models import Bag, BagCount, BagMove, CashMove, Purse
from routeapp.cash.models_bank import BankFigure, Deposit, Matched
from routeapp.cash.queries import bags, bags_to_bank, in_and_out
from routeapp.kit import money


def deposits() -> QuerySet:
    """All deposits with `many` bags, the bank's `figure` (None while nobody wrote it down), its `difference`, and
    `matched`: how a row of a statement was found to be this deposit."""
    moves = CashMove.objects.filter(source=OuterRef("uuid")).order_by()
    many = moves.filter(bag__isnull=False, reverses=None).values("source").annotate(n=Count("bag", distinct=True))
    off = moves.filter(bag=None).values("source").annotate(off=in_and_out(Purse.BANK))
    figure = BankFigure.objects.live().filter(deposit=OuterRef("pk")).values("cents")[:1]
    matched = Matched.objects.live().filter(move__source=OuterRef("uuid")).values("how")[:1]
    return Deposit.objects.select_related("by", "withdrawn_by").annotate(
        many=Subquery(many.values("n"), output_field=IntegerField()),
        figure=Subquery(figure),
        difference=Case(
            When(figure__isnull=False, then=Coalesce(Subquery(off.values("off")), 0)), output_field=IntegerField()
        ),
        matched=Subquery(matched),
    )


def bags_of(deposit: Deposit) -> QuerySet:
    """The bags that went with a deposit, each with the `cents` it gave, also after it was withdrawn."""
    gave = CashMove.objects.filter(source=deposit.uuid, bag=OuterRef("pk"), reverses=None).order_by()
    cents = gave.values("bag").annotate(all=in_and_out(Purse.BANK)).values("all")
    inside = CashMove.objects.filter(source=deposit.uuid, bag__isnull=False).values("bag")
    return Bag.objects.filter(pk__in=inside).select_related("location", "by").annotate(cents=Subquery(cents))


def deposit_of(bag: Bag) -> Deposit | None:
    """The deposit with which a bag is at the bank; none when it is elsewhere."""
    stay = BagMove.objects.live().filter(bag=bag, holder="bank").first()
    return Deposit.objects.filter(uuid=stay.source).first() if stay and stay.source else None


def bags_that_can_go() -> QuerySet:
    """Bags with money that is known and not at the bank yet, the oldest first; below zero those out of which a host
    got more than was in them."""
    return bags_to_bank().exclude(has_sealed=True, counted=False).order_by("at", "pk")


def chosen(numbers: Iterable[Any]) -> list[Any]:
    """The bags with these numbers, as queries.bags() tells them, the oldest first."""
    return list(bags().filter(pk__in=list(numbers)).order_by("at", "pk"))


def pieces_in(chosen: Iterable[Any]) -> dict[str, int]:
    """Pieces by denomination key in bags whose newest count says them and whose sum did not change since."""
    holds = {bag.pk: bag.holds for bag in chosen}
    newest: dict[int, BagCount] = {}
    for count in BagCount.objects.live().filter(bag__in=holds).order_by("at", "uuid"):
        newest[count.bag_id] = count
    return rules_slip.together(count.lines for pk, count in newest.items() if count.cents == holds[pk])


def slip(deposit: Deposit, inside: Iterable[Any], business: str) -> rules_slip.Slip:
    numbers = ", ".join(bag.number for bag in inside)
    about = (business, f"{timezone.localtime(deposit.at):%Y-%m-%d}", f"Bags {numbers}")
    lines = rules_slip.slip_lines(deposit.lines, deposit.cents, money.active())
    return rules_slip.Slip(str(deposit), about, lines, deposit.cents)
