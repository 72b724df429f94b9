"""Prizes, the mixes they are loaded in, the places they lie, and every move between two places."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from machines.cabinets.models import Machine, Reading
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact, MoveQuerySet


class Prize(models.Model):
    """A stock item that players win."""

    name = models.CharField(max_length=80, unique=True)
    supplier = models.CharField(max_length=120, blank=True)
    size_mm = models.PositiveIntegerField("longest side (mm)", null=True, blank=True)
    age_grade = models.CharField(max_length=40, blank=True, help_text="As printed on the packing: 3+, 8+ …")
    small_parts = models.BooleanField("carries a small-parts warning", default=False)
    low_at = models.PositiveIntegerField("say when fewer are left than", default=0)
    retired = models.BooleanField("no longer bought", default=False)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Mix(models.Model):
    """A recipe of prizes loaded together. A changed recipe is a new Mix: phones may still carry the old one."""

    name = models.CharField(max_length=80)
    retired_at = models.DateTimeField(null=True)
    prizes = models.ManyToManyField(Prize, through="MixLine")

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["name"], condition=Q(retired_at=None), name="mix_name_once_in_use")
        ]

    def __str__(self) -> str:
        return self.name


class MixLine(models.Model):
    """How many of one prize a mix has."""

    mix = models.ForeignKey(Mix, models.CASCADE, related_name="lines")
    prize = models.ForeignKey(Prize, models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField()

    class Meta:
        ordering = ["prize__name"]
        constraints = [
            models.UniqueConstraint(fields=["mix", "prize"], name="mix_line_once_per_prize"),
            models.CheckConstraint(name="mix_line_above_zero", condition=Q(quantity__gt=0)),
        ]


class PlaceKind(TextChoices):
    SUPPLIER = "supplier", "Suppliers"
    STORE = "store", "Store"
    VAN = "van", "Van"
    CABINET = "cabinet", "Cabinet"
    PLAYERS = "players", "Players"
    SHRINKAGE = "shrinkage", "Shrinkage"


OURS = (PlaceKind.STORE, PlaceKind.VAN, PlaceKind.CABINET)
BEYOND = (PlaceKind.SUPPLIER, PlaceKind.PLAYERS, PlaceKind.SHRINKAGE)  # one row each; may run below zero


class Place(models.Model):
    """Where prizes can be: a store, a van, a cabinet, or beyond us."""

    kind = models.CharField(max_length=10, choices=PlaceKind)
    name = models.CharField(max_length=80, unique=True)
    machine = models.OneToOneField(Machine, models.PROTECT, null=True, blank=True, related_name="place")
    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="van", verbose_name="whose van"
    )

    class Meta:
        ordering = ["kind", "name"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind"], condition=Q(kind__in=["supplier", "players", "shrinkage"]), name="place_beyond_us_once"
            ),
            models.CheckConstraint(
                name="place_cabinet_has_its_machine",
                condition=Q(kind="cabinet", machine__isnull=False) | (~Q(kind="cabinet") & Q(machine=None)),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Delivery(Fact):
    """Prizes that came from a supplier; what each line cost stands on its move."""

    uuid = models.UUIDField(unique=True)
    supplier = models.CharField(max_length=120, blank=True)
    paper = models.CharField("invoice or delivery note", max_length=80, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return " ".join(["Delivery", self.paper]) if self.paper else f"Delivery from {self.supplier or 'a supplier'}"


class StockCount(Fact):
    """How many of one prize were found in one place. From here on the place holds this many and what moved since."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="counts", db_index=False)
    prize = models.ForeignKey(Prize, models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField()
    estimated = models.BooleanField(default=False)
    reason = models.CharField(max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["place", "prize", "at"])]


class StockMoveQuerySet(MoveQuerySet):
    def entered(self) -> Self:
        """What people wrote down, and took back; not what follows from counts and meters."""
        return self.filter(settles=None, metered=None)


class StockMove(Fact):
    """A quantity of one prize from one place to another.

    A move with `settles` is what a count showed to be won, lost or found: the difference between what
    should have been there and what was. One with `metered` is what a reading of a prizes meter says was won of what
    nobody counted. When a late fact changes either, another such move makes up for it, so the sum is right in whatever
    order facts arrive.
    """

    prize = models.ForeignKey(Prize, models.PROTECT, related_name="moves")
    from_place = models.ForeignKey(Place, models.PROTECT, related_name="moves_out", db_index=False)
    to_place = models.ForeignKey(Place, models.PROTECT, related_name="moves_in", db_index=False)
    quantity = models.PositiveIntegerField()
    cost_cents = models.PositiveIntegerField("cost of all of them", null=True)  # deliveries only
    settles = models.ForeignKey(StockCount, models.PROTECT, null=True, related_name="settled_by")
    metered = models.ForeignKey(Reading, models.PROTECT, null=True, related_name="+", db_index=False)
    reverses = models.OneToOneField("self", models.PROTECT, null=True, related_name="reversed_by")
    reason = models.CharField(max_length=200, blank=True)

    objects = StockMoveQuerySet.as_manager()

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["from_place", "prize", "at"]), models.Index(fields=["to_place", "prize", "at"])]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="stock_move_above_zero", condition=Q(quantity__gt=0)),
            models.CheckConstraint(name="stock_move_between_two_places", condition=~Q(from_place=F("to_place"))),
        ]


class Holding(models.Model):
    """Derived: pieces of a prize in a place now, the sum of its moves; of when its newest move or count is, and its
    newest count.

    Kept so that pages need not add up years of moves, and locked while facts about the pair are written.
    """

    place = models.ForeignKey(Place, models.PROTECT, related_name="holdings", db_index=False)
    prize = models.ForeignKey(Prize, models.PROTECT, related_name="holdings")
    pieces = models.IntegerField(default=0)
    newest = models.DateTimeField(null=True)
    counted = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["place", "prize"], name="holding_once_per_place_and_prize")]


class PrizeCost(models.Model):
    """Derived: from `since` on, `quantity` pieces of a prize stand in the books at `value_cents` together.

    Rebuilt from deliveries and moves by actions_ledger.rebuild_costs; never entered.
    """

    prize = models.ForeignKey(Prize, models.CASCADE, related_name="costs", db_index=False)
    since = models.DateTimeField()
    quantity = models.PositiveIntegerField()
    value_cents = models.PositiveBigIntegerField()

    class Meta:
        ordering = ["prize", "since"]
        constraints = [models.UniqueConstraint(fields=["prize", "since"], name="prize_cost_one_per_moment")]
