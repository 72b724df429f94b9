"""Spares on the shelf and the keys of locks: how many, where, and who holds them."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from machines.cabinets.models import CabinetModel, Machine
from machines.faults.models import Fault
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Part(models.Model):
    """A spare. It fits the models named; with none named, all of them."""

    name = models.CharField(max_length=80, unique=True)
    number = models.CharField("part number", max_length=60, blank=True)
    fits = models.ManyToManyField(CabinetModel, blank=True, related_name="spares")
    low_at = models.PositiveIntegerField("order more below", default=1)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class PartPlaceKind(TextChoices):
    SHELF = "shelf", "Shelf or van"
    SUPPLIER = "supplier", "Supplier"
    CABINETS = "cabinets", "Put into cabinets"
    LOST = "lost", "Lost or found"


class PartPlace(models.Model):
    """Where parts lie. Of the kinds that are no shelf there is one each, so that parts only ever move."""

    kind = models.CharField(max_length=8, choices=PartPlaceKind, default=PartPlaceKind.SHELF)
    name = models.CharField(max_length=60, unique=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["kind"], condition=~Q(kind="shelf"), name="part_place_one_of_each_outside")
        ]

    def __str__(self) -> str:
        return self.name


class PartMove(Fact):
    """So many pieces went from one place to another; stock is the sum. `fault` is what they were used on."""

    uuid = models.UUIDField(unique=True)
    part = models.ForeignKey(Part, models.PROTECT, related_name="moves")
    pieces = models.PositiveIntegerField()
    from_place = models.ForeignKey(PartPlace, models.PROTECT, related_name="+")
    to_place = models.ForeignKey(PartPlace, models.PROTECT, related_name="+")
    fault = models.ForeignKey(Fault, models.PROTECT, null=True, related_name="parts_used")
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="parts_used")
    cost_cents = models.PositiveIntegerField("what they cost together", null=True)  # of what came from a supplier
    note = models.CharField(max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="part_move_above_zero", condition=Q(pieces__gt=0)),
            models.CheckConstraint(name="part_move_places_differ", condition=~Q(from_place=F("to_place"))),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} × {self.part}"


class Lock(models.Model):
    """One way to cut a lock: the same key opens it on every cabinet named."""

    name = models.CharField("what it locks", max_length=60)
    number = models.CharField("number on the key", max_length=40, blank=True)
    machines = models.ManyToManyField(Machine, related_name="locks", verbose_name="cabinets it is on")

    class Meta:
        ordering = ["name", "number"]

    def __str__(self) -> str:
        return f"{self.name} {self.number}".strip()


class Key(models.Model):
    """One copy of the key of a lock."""

    lock = models.ForeignKey(Lock, models.PROTECT, related_name="keys")
    tag = models.PositiveSmallIntegerField("copy")

    class Meta:
        ordering = ["lock", "tag"]
        constraints = [models.UniqueConstraint(fields=["lock", "tag"], name="key_tag_once_per_lock")]

    def __str__(self) -> str:
        return f"{self.lock}, copy {self.tag}"


class Held(TextChoices):
    ORDERED = "ordered", "Ordered"
    SAFE = "safe", "With the spare keys"
    PERSON = "person", "Somebody has it"
    HOST = "host", "The host has it"
    LOST = "lost", "Lost"


class KeyMove(Fact):
    """Where a copy is from a moment on; the newest one that holds says where it is now."""

    uuid = models.UUIDField(unique=True)
    key = models.ForeignKey(Key, models.CASCADE, related_name="moves")
    held = models.CharField("where it is", max_length=7, choices=Held)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    note = models.CharField(max_length=120, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                name="key_move_names_the_person_who_has_it",
                condition=Q(held="person", person__isnull=False) | (~Q(held="person") & Q(person=None)),
            ),
        ]
