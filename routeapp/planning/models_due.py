"""What makes a visit due besides empty cabinets, and on which terms prizes are ordered."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact
from routeapp.stock.models import Prize


class Promise(Fact):
    """What a host was told: somebody comes at least every so many days. The newest that holds counts."""

    location = models.ForeignKey(Location, models.CASCADE, related_name="promises")
    every_days = models.PositiveSmallIntegerField("at least every (days)")
    note = models.CharField("to whom, and why", max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["location"], condition=Q(withdrawn_at=None), name="promise_one_a_location_at_a_time"
            ),
            models.CheckConstraint(name="promise_above_zero", condition=Q(every_days__gt=0)),
        ]

    def __str__(self) -> str:
        return f"{self.location} at least every {self.every_days} days"


class Errand(TextChoices):
    BRING = "bring", "Bring something"
    INSTALL = "install", "Install a cabinet"
    PULL = "pull", "Take a cabinet away"
    PERMIT = "permit", "Renew a permit or sticker"
    OTHER = "other", "Something else"


class ToDo(Fact):
    """Something to bring or do at a location's next visit. Installed and pulled are read off placements; what else is
    done somebody says. A permit waits until shortly before it runs out, at the end of `by_day`."""

    uuid = models.UUIDField(unique=True)
    location = models.ForeignKey(Location, models.CASCADE, related_name="to_dos")
    errand = models.CharField("what", max_length=8, choices=Errand, default=Errand.BRING)
    machine = models.ForeignKey(Machine, models.CASCADE, null=True, blank=True, related_name="to_dos")
    text = models.CharField("in words", max_length=200, blank=True)
    by_day = models.DateField("no later than", null=True, blank=True)
    done_at = models.DateTimeField(null=True)

    class Meta(Fact.Meta):
        ordering = ["by_day", "at", "pk"]

    def __str__(self) -> str:
        said = self.text or (str(self.machine) if self.machine else "")
        return f"{self.get_errand_display()}: {said}" if said else str(self.get_errand_display())


class SupplierTerms(models.Model):
    """On which terms one supplier of prizes delivers. Money in minor units."""

    supplier = models.CharField(max_length=120, unique=True)
    lead_days = models.PositiveSmallIntegerField("days from order to delivery", default=14)
    spread_days = models.PositiveSmallIntegerField("give or take (days)", default=4)
    freight_cents = models.PositiveIntegerField("freight of one order", default=0)
    free_from_cents = models.PositiveIntegerField("freight is free from", null=True, blank=True)
    every_days = models.PositiveSmallIntegerField("ordered at every (days)", default=7)

    class Meta:
        ordering = ["supplier"]
        constraints = [models.CheckConstraint(name="supplier_terms_every_above_zero", condition=Q(every_days__gt=0))]

    def __str__(self) -> str:
        return self.supplier


class PrizeOrder(Fact):
    """Prizes ordered from a supplier. What deliveries of it brought since is no longer on its way."""

    uuid = models.UUIDField(unique=True)
    supplier = models.CharField(max_length=120, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"Order of {timezone.localdate(self.at):%-d %b %Y} from {self.supplier or 'a supplier'}"


class PrizeOrderLine(models.Model):
    """How many of one prize were ordered."""

    order = models.ForeignKey(PrizeOrder, models.CASCADE, related_name="lines")
    prize = models.ForeignKey(Prize, models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField()

    class Meta:
        ordering = ["prize__name"]
        constraints = [
            models.CheckConstraint(name="prize_order_line_above_zero", condition=Q(quantity__gt=0)),
            models.UniqueConstraint(fields=["order", "prize"], name="prize_order_line_once_per_prize"),
        ]
