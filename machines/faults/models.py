"""Something wrong with a cabinet: found on a visit, reported by a player from the label, told by a host."""

from django.conf import settings
from django.db import models

from machines.cabinets.models import Machine
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class About(TextChoices):
    FAULT = "fault", "Something is broken"
    LOST_MONEY = "lost_money", "I lost money"
    CONTACT = "contact", "Something else"


class Via(TextChoices):
    VISIT = "visit", "Found on a visit"
    LABEL = "label", "Reported from the label"
    HOST = "host", "Told by the host"
    OFFICE = "office", "Noted at the table"


STOPS = {Via.LABEL: "a player reports that nobody can play", Via.HOST: "the host says that nobody can play"}


class Fault(Fact):
    """Open until a live FaultFix says otherwise. A corrected report keeps its uuid, and with it what fixed it."""

    # A stranger's report has nobody signed in behind it.
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    uuid = models.UUIDField(db_index=True)
    machine = models.ForeignKey(Machine, models.CASCADE, related_name="faults")
    about = models.CharField(max_length=10, choices=About, default=About.FAULT)
    via = models.CharField(max_length=8, choices=Via)
    text = models.CharField("what is wrong", max_length=1000)
    stops_play = models.BooleanField("nobody can play", default=False)
    amount_cents = models.PositiveIntegerField("money lost", null=True)
    contact = models.CharField("how to reach the person", max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["uuid"], condition=models.Q(withdrawn_at=None), name="fault_one_live_report_per_uuid"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine.code}: {self.text[:60]}"

    @property
    def stop_in_words(self) -> str:
        """Of one that stops play: by whose word. What players report nobody of ours has seen."""
        return STOPS.get(Via(self.via), "nobody can play")


class FaultFix(Fact):
    """How a fault was cleared."""

    fault = models.ForeignKey(Fault, models.CASCADE, related_name="fixes")
    how = models.CharField(max_length=500)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
