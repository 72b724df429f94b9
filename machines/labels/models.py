"""The code on a cabinet's label, and the limits on what strangers may send through it."""

from django.db import models

from machines.cabinets.models import Machine
from routeapp.kit.facts import Fact


class Label(Fact):
    """An unguessable code (80 bits). A label that got into the wrong hands is withdrawn and another one made."""

    machine = models.ForeignKey(Machine, models.CASCADE, related_name="labels")
    code = models.CharField(max_length=16, unique=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["machine"], condition=models.Q(withdrawn_at=None), name="label_one_in_use_per_machine"
            ),
        ]


class ReportWindow(models.Model):
    """How many reports came from one label or one address within one hour."""

    key = models.CharField(max_length=80)  # "label:…" or "address:…" (a keyed hash, never the address itself)
    hour = models.DateTimeField()
    reports = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["key", "hour"], name="report_window_once_per_key_and_hour")]
