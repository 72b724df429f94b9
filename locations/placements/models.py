"""Which cabinet stands where, from one moment to another."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from locations.sites.models import Location
from machines.cabinets.models import Machine


class Told(models.Model):
    """What somebody told of a cabinet at a location."""

    uuid = models.UUIDField(unique=True)  # made by the form; its readings and fill carry it as their source
    spot = models.CharField("where exactly", max_length=120, blank=True)
    started_at = models.DateTimeField()
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    ended_because = models.CharField(max_length=200, blank=True)
    received_at = models.DateTimeField()

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.machine} at {self.location}"


class Placement(Told):
    """A cabinet stands in one place at a time: one open placement each, and no two that overlap.

    The overlap rule needs what Django cannot express for both engines; migration 0002 adds it.
    """

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="placements")
    location = models.ForeignKey(Location, models.PROTECT, related_name="placements")

    class Meta:
        ordering = ["-started_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine"], condition=Q(ended_at=None), name="placement_one_open_per_machine"
            ),
            models.CheckConstraint(
                name="placement_ends_after_it_starts", condition=Q(ended_at=None) | Q(ended_at__gt=F("started_at"))
            ),
            models.CheckConstraint(
                name="placement_end_has_who_and_when",
                condition=Q(ended_at=None, ended_by=None) | Q(ended_at__isnull=False, ended_by__isnull=False),
            ),
        ]


class WithdrawnPlacement(Told):
    """A placement that never was, as it had been told. It is in a table of its own so that nothing else reads it."""

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="+")
    location = models.ForeignKey(Location, models.PROTECT, related_name="+")
    reason = models.CharField(max_length=300)
    withdrawn_at = models.DateTimeField()
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-started_at"]
