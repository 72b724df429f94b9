"""The business itself. Its people are Django users; their roles are Django groups."""

from django.db import models

from routeapp.kit.units import Units

UNNAMED = "Keyround"  # what a business is called until somebody says


class Business(models.Model):
    """One row: the operator's own business."""

    name = models.CharField(max_length=120)
    currency = models.CharField(max_length=3, default="USD")
    time_zone = models.CharField(max_length=40, default="UTC")
    units = models.CharField(max_length=9, choices=Units, default=Units.METRIC)
    contact = models.CharField(
        "how players reach you", max_length=200, blank=True, help_text="Shown on the page behind each label."
    )

    class Meta:
        constraints = [models.CheckConstraint(name="business_only_one", condition=models.Q(pk=1))]

    def __str__(self) -> str:
        return self.name
