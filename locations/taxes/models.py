"""Tax inside the price: jurisdictions and their dated rules, which location lies in which, what a cabinet counts as."""

from django.db import models
from django.db.models import F, Q

from locations.sites.models import Location
from locations.taxes.rules import How, Treatment
from machines.cabinets.models import Machine
from routeapp.kit.facts import Fact


class Jurisdiction(models.Model):
    """A place with tax rules of its own: a state, or a county with a surtax."""

    name = models.CharField(max_length=80, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class TaxRule(Fact):
    """How much tax lies inside a price, from a day on. `millionths` is the rate (0.04 is 40000) or the divisor."""

    jurisdiction = models.ForeignKey(Jurisdiction, models.CASCADE, related_name="rules")
    treatment = models.CharField("what a play counts as", max_length=9, choices=Treatment, default=Treatment.AMUSEMENT)
    valid_from = models.DateField("holds from")
    valid_to = models.DateField("holds up to", null=True, blank=True)
    how = models.CharField("how the tax is worked out", max_length=7, choices=How, default=How.RATE)
    millionths = models.PositiveIntegerField("rate or divisor in millionths")
    source = models.CharField("where this is written", max_length=300)

    class Meta(Fact.Meta):
        ordering = ["jurisdiction", "treatment", "-valid_from"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["jurisdiction", "treatment", "valid_from"],
                condition=Q(withdrawn_at=None),
                name="tax_rule_one_start_per_day",
            ),
            models.CheckConstraint(
                name="tax_rule_ends_after_it_starts", condition=Q(valid_to=None) | Q(valid_to__gte=F("valid_from"))
            ),
            models.CheckConstraint(
                name="tax_rule_takes_less_than_half",
                condition=Q(how="rate", millionths__lt=1_000_000)
                | Q(how="divisor", millionths__gte=1_000_000, millionths__lt=2_000_000),
            ),
        ]


class LocationTax(Fact):
    """In which jurisdiction a location lies from a day on; in none of them where it is empty."""

    location = models.ForeignKey(Location, models.CASCADE, related_name="taxed")
    jurisdiction = models.ForeignKey(Jurisdiction, models.PROTECT, null=True, blank=True, related_name="locations")
    starts_on = models.DateField("from")

    class Meta(Fact.Meta):
        ordering = ["location", "starts_on", "pk"]


class CabinetTax(Fact):
    """What a play of a cabinet counts as from a day on; without a line it is an amusement."""

    machine = models.ForeignKey(Machine, models.CASCADE, related_name="taxed")
    treatment = models.CharField("what a play counts as", max_length=9, choices=Treatment, default=Treatment.AMUSEMENT)
    starts_on = models.DateField("from")

    class Meta(Fact.Meta):
        ordering = ["machine", "starts_on", "pk"]
