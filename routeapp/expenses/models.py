"""What running the route costs: receipts, trips and their rates, money given back to players."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.cash.models import Bag, Purse
from routeapp.expenses.rules import Category, Rate, Unit
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact

PAID_FROM = [(Purse.BANK, "The bank account"), (Purse.OWNER, "The owner's own money"), (Purse.BAG, "A bag of cash")]


class Expense(Fact):
    """Money spent, for one cabinet, one location or the whole business. Its move carries its `uuid` as the source."""

    uuid = models.UUIDField(unique=True)  # made by the form
    day = models.DateField()
    category = models.CharField(max_length=10, choices=Category)
    what = models.CharField("what it was", max_length=200)
    cents = models.PositiveIntegerField()
    paid_from = models.CharField(max_length=10, choices=PAID_FROM)
    bag = models.ForeignKey(Bag, models.PROTECT, null=True, related_name="+")
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="expenses")
    location = models.ForeignKey(Location, models.PROTECT, null=True, related_name="expenses")
    receipt = models.FileField(upload_to="receipts/%Y/%m/", blank=True)
    replaces = models.OneToOneField("self", models.PROTECT, null=True, related_name="replaced_by")

    class Meta(Fact.Meta):
        ordering = ["-day", "-pk"]
        indexes = [models.Index(fields=["-day"])]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="expense_above_zero", condition=Q(cents__gt=0)),
            models.CheckConstraint(
                name="expense_from_a_bag_names_it",
                condition=Q(paid_from="bag", bag__isnull=False) | (~Q(paid_from="bag") & Q(bag=None)),
            ),
        ]

    def __str__(self) -> str:
        return self.what


class Trip(Fact):
    """A drive for the business. The distance is as somebody typed it, or read it off the car (`measured`)."""

    uuid = models.UUIDField(unique=True)  # made by the form
    day = models.DateField()
    driver = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    way = models.CharField("from where to where", max_length=500)
    purpose = models.CharField(max_length=200)
    tenths = models.PositiveIntegerField("distance in tenths")
    unit = models.CharField(max_length=2, choices=Unit)
    measured = models.BooleanField("read off the car", default=False)

    class Meta(Fact.Meta):
        ordering = ["-day", "-pk"]
        indexes = [models.Index(fields=["-day"])]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="trip_has_a_distance", condition=Q(tenths__gt=0)),
        ]

    def __str__(self) -> str:
        return self.way[:80]


class MileageRate(Fact):
    """What one mile or kilometre is worth, written down with its source; wins over the tables that come along."""

    valid_from = models.DateField("holds from")
    valid_to = models.DateField("holds up to", null=True)
    unit = models.CharField(max_length=2, choices=Unit)
    hundredths = models.PositiveIntegerField("worth in hundredths of a minor unit")
    note = models.CharField("where this is written", max_length=300)

    class Meta(Fact.Meta):
        ordering = ["-valid_from"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["valid_from"], condition=Q(withdrawn_at=None), name="mileage_rate_one_start_per_day"
            ),
            models.CheckConstraint(
                name="mileage_rate_ends_after_it_starts",
                condition=Q(valid_to=None) | Q(valid_to__gte=F("valid_from")),
            ),
            models.CheckConstraint(name="mileage_rate_above_zero", condition=Q(hundredths__gt=0)),
        ]

    def __str__(self) -> str:
        return f"the rate from {self.valid_from:%-d %b %Y}"

    @property
    def rate(self) -> Rate:
        return Rate(self.valid_from, self.valid_to, self.unit, self.hundredths, self.note)


class Payer(TextChoices):
    """Whose money a player got back."""

    OWNER = Purse.OWNER.value, "The owner's own money"
    BAG = Purse.BAG.value, "A bag, at the site"
    BANK = Purse.BANK.value, "The bank account"
    HOST = Purse.HOST.value, "The host's till: we owe it to the host"
    CARDS = Purse.CARDS.value, "Back to the card: the processor's statement will say so"


class Refund(Fact):
    """Money given back to a player, or a reason why not. `report` is the id of the fault in which the player told.

    One by card moves nothing by itself: the row of the processor's statement does.
    """

    uuid = models.UUIDField(unique=True)  # made by the form
    report = models.UUIDField(null=True)
    refused = models.BooleanField(default=False)
    cents = models.PositiveIntegerField(default=0)
    paid_from = models.CharField(max_length=10, choices=Payer, blank=True)
    bag = models.ForeignKey(Bag, models.PROTECT, null=True, related_name="+")
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="refunds")
    location = models.ForeignKey(Location, models.PROTECT, null=True, related_name="refunds")
    note = models.CharField("to whom, or why not", max_length=300, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["report"],
                condition=Q(withdrawn_at=None, report__isnull=False),
                name="refund_once_per_report",
            ),
            models.CheckConstraint(
                name="refund_is_paid_or_refused",
                condition=Q(refused=True, cents=0, paid_from="") | (Q(refused=False, cents__gt=0) & ~Q(paid_from="")),
            ),
            models.CheckConstraint(
                name="refund_from_a_bag_names_it",
                condition=Q(paid_from="bag", bag__isnull=False) | (~Q(paid_from="bag") & Q(bag=None)),
            ),
            models.CheckConstraint(
                name="refund_by_a_host_names_the_location", condition=~Q(paid_from="host") | Q(location__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"refund of {timezone.localtime(self.at):%-d %b %Y}"
